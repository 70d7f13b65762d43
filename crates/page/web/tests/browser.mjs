// The page in a real browser, at the size of a phone and of a desk: the whole way, by finger and by keys alone; nothing leaves
// it, nothing is wrong in its console, nothing stands in the way of a screen reader, and its JSON is the command line's.

import assert from "node:assert/strict";
import { existsSync, mkdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { DESK, PHONE, commandLine, fixture, fixturePlan, launch, missing, sameJson, samples, saved, served, single, small, tab, violations, watched } from "./support.mjs";

if (missing) {
  console.log(`SKIP: the page's tests in a browser: ${missing}`);
  process.exit(0);
}

const SHOTS = process.env.PUNCHREADY_SCREENSHOTS;
if (SHOTS) mkdirSync(SHOTS, { recursive: true });

let browser;
before(async () => {
  browser = await launch();
});
after(() => browser?.close());

/** Looks at the page as it stands: axe, small letters, and a picture if they are wanted. */
async function look(page, name) {
  await page.waitForTimeout(150);
  if (SHOTS) await page.screenshot({ path: join(SHOTS, `${name}.png`), fullPage: false });
  if (SHOTS) await page.screenshot({ path: join(SHOTS, `${name}-full.png`), fullPage: true });
  assert.deepEqual(await violations(page), [], `${name}: axe`);
  assert.deepEqual(await small(page), [], `${name}: text under 16 px`);
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  assert.ok(wide <= 0, `${name}: ${wide} px wider than the screen`);
}

function clean({ wrong, asked }) {
  assert.deepEqual(wrong, [], "console");
  const left = asked.filter((u) => !/^(blob:|data:|about:)/.test(u) && !u.startsWith(single.split("#")[0]));
  assert.deepEqual(left, [], "requests");
}

const open = async (page, file) => {
  await page.locator('input[type="file"][accept*=".toml"]').setInputFiles(file);
  await page.getByRole("button", { name: "Next: mark it out" }).waitFor();
};
const photos = (page, files) => page.locator('input[type="file"][multiple][accept="image/*"]').setInputFiles(files);
const bars = async (page, across, down) => {
  await page.getByLabel("Across shows").fill(across);
  await page.getByLabel("Down shows").fill(down);
};
const checked = async (page) => {
  await page.getByRole("button", { name: /^Check/ }).and(page.locator(":not([disabled])")).click({ timeout: 60_000 });
  await page.locator("header.verdict").waitFor({ timeout: 120_000 });
  await page.getByRole("button", { name: "Print the report" }).and(page.locator(":not([disabled])")).waitFor({ timeout: 120_000 });
};
const json = async (page) => (await saved(page, () => page.getByRole("button", { name: "Save the JSON" }).click())).bytes.toString();

for (const [size, options] of [["phone", PHONE], ["desk", DESK]]) {
  for (const colorScheme of ["light", "dark"]) {
    test(`the whole way, ${size}, ${colorScheme}`, async () => {
      const context = await browser.newContext({ ...options, colorScheme, acceptDownloads: true });
      const all = await watched(context);
      const { page } = all;
      const name = (view) => `${size}-${colorScheme}-${view}`;
      await page.getByText("two rows", { exact: false }).first().waitFor();
      await look(page, name("1-start"));

      // A plan by form: decimal commas and fractions as people write them, and what is wrong beside its field.
      await page.getByRole("button", { name: "Fill in a form" }).click();
      await page.getByLabel("Name of the piece").fill("Bracket");
      await page.getByLabel("Numbers without a unit are").selectOption("mm");
      await page.getByLabel("Width, to the right").fill("120,5");
      await page.getByLabel("Height, upwards").fill("60");
      await page.getByLabel("Mark may be out by").fill("0,8");
      await page.getByLabel("Rivet diameter").fill("3,2");
      await page.getByLabel("From that edge to the row").fill("8");
      await page.getByLabel("First hole, from the end").fill("10");
      await page.getByLabel("Spacing", { exact: true }).fill("1.2.3");
      await page.locator(".field.wrong .fault").first().waitFor();
      assert.match(await page.locator(".field.wrong").filter({ has: page.getByLabel("Spacing", { exact: true }) }).innerText(), /1\.2\.3/);
      await look(page, name("2-fault"));
      await page.getByLabel("Spacing", { exact: true }).fill("10");
      await page.locator(".field.wrong").waitFor({ state: "detached" });
      assert.equal(await page.locator(".drawing .hole").count(), 10);
      const plan = await saved(page, () => page.getByRole("button", { name: "Save the plan" }).click());
      assert.match(plan.bytes.toString(), /width = 120\.5\n/);

      // The fixture's piece.
      await page.getByRole("button", { name: "Another piece" }).click();
      await open(page, fixturePlan);
      await look(page, name("3-plan"));
      await page.getByRole("button", { name: "Next: mark it out" }).click();
      await page.getByRole("button", { name: "Marked", exact: true }).click();
      await page.getByRole("button", { name: "Marked", exact: true }).click();
      await page.getByText("3 of 14").waitFor();
      await look(page, name("4-mark"));
      await tab(page, "Cards");
      await bars(page, "100", "100,0");
      await page.getByLabel("Name of the printer").fill("Office");
      await page.getByRole("button", { name: "Keep for this printer" }).click();
      await page.getByText("Kept for Office").waitFor();
      await page.getByText("Every hole can be proven", { exact: false }).or(page.getByText("without,", { exact: false })).first().waitFor();
      await look(page, name("5-cards"));
      const pdf = await saved(page, () => page.getByRole("button", { name: "Save the PDF" }).click());
      assert.equal(pdf.bytes.subarray(0, 5).toString(), "%PDF-");

      // Its photo.
      await tab(page, "Photo");
      await photos(page, fixture);
      await page.getByText("pixels a millimetre", { exact: false }).waitFor();
      await page.getByText("level with its face", { exact: false }).click();
      await page.locator(".seen img").waitFor();
      await look(page, name("6-photo"));
      await checked(page);
      await page.getByRole("heading", { name: "Not ready" }).waitFor();
      await look(page, name("7-answer"));
      await page.getByRole("button", { name: "Next", exact: true }).click();
      assert.match(await page.locator(".do").innerText(), /^A5: move/);
      await page.getByRole("button", { name: "Zoom in" }).click();
      await page.locator(".holes button").first().click();
      // A sign that is touched tells what it is: that of the stray lies just below its label.
      await page.getByRole("button", { name: "Whole" }).click();
      const label = page.locator(".signs text", { hasText: "STRAY" }).first();
      await label.scrollIntoViewIfNeeded();
      const box = await label.boundingBox();
      await page.mouse.click(box.x + box.width / 2, box.y + box.height / 2 + 16);
      await page.locator(".viewer ~ div .figures", { hasText: "stray" }).waitFor();
      await look(page, name("8-answer-open"));
      const own = await json(page);
      const native = commandLine([{ from: fixture, name: "hatch-cover.jpg" }], fixturePlan, ["--bars", "100mm,100.0mm", "--card-below", "0mm"]);
      sameJson(own, native, "JSON of page and command line");
      const report = await saved(page, () => page.getByRole("button", { name: "Save the report" }).click());
      assert.match(report.bytes.toString(), /<title>NOT READY: Hatch cover/);

      // Printing shows the command line's page in a frame of its own.
      await page.evaluate(() => {
        new MutationObserver((all) => {
          for (const frame of all.flatMap((m) => [...m.addedNodes])) {
            if (frame.tagName === "IFRAME") frame.addEventListener("load", () => (window.printed = [frame.contentDocument.querySelector("h1").innerText, frame.contentWindow.getComputedStyle(frame.contentDocument.querySelector("header")).backgroundColor]), { capture: true });
          }
        }).observe(document.body, { childList: true });
      });
      await page.getByRole("button", { name: "Print the report" }).click();
      await page.waitForFunction(() => window.printed);
      const [title, colour] = await page.evaluate(() => window.printed);
      assert.match(title, /NOT READY/);
      assert.notEqual(colour, "rgba(0, 0, 0, 0)", "the report has its styles");

      // A second check says what has changed.
      await tab(page, "Photo");
      await checked(page);
      await page.getByText("No mark has changed its state", { exact: false }).waitFor();

      // The record survives the page.
      await tab(page, "Book");
      await page.locator(".item.check").nth(1).waitFor();
      await look(page, name("9-book"));
      const zip = await saved(page, () => page.getByRole("button", { name: "Export all as ZIP" }).click());
      await page.getByRole("article", { name: "Hatch cover" }).getByRole("button", { name: "Delete" }).click();
      await page.getByRole("button", { name: /Really delete/ }).click();
      await page.locator(".item.check").first().waitFor({ state: "detached" });
      await page.locator('input[accept*=".zip"]').setInputFiles(zip.path);
      await page.locator(".item.check").nth(1).waitFor();
      await page.reload();
      await page.locator(".item.check").first().click();
      await page.getByRole("heading", { name: "Not ready" }).waitFor();
      assert.equal(await json(page), own, "JSON out of the record");
      clean(all);
      await context.close();
    });
  }
}

test("a cancelled check leaves nothing", async () => {
  const context = await browser.newContext({ ...PHONE });
  const all = await watched(context);
  const { page } = all;
  await open(page, fixturePlan);
  await tab(page, "Photo");
  await photos(page, fixture);
  await page.getByRole("button", { name: /^Check/ }).and(page.locator(":not([disabled])")).click();
  await page.getByRole("button", { name: "Cancel" }).click();
  await page.getByRole("heading", { name: "Photo" }).waitFor();
  await tab(page, "Book");
  await page.getByRole("article", { name: "Hatch cover" }).waitFor();
  assert.equal(await page.locator(".item.check").count(), 0);
  clean(all);
  await context.close();
});

test("unclear ink is answered for by two buttons, and a photo is added", async (t) => {
  const sheet = join(samples, "clean_03");
  if (!existsSync(sheet)) return t.skip(`no sample photos in ${samples}`);
  const context = await browser.newContext({ ...PHONE, acceptDownloads: true });
  const all = await watched(context);
  const { page } = all;
  await open(page, join(sheet, "plan.toml"));
  await tab(page, "Photo");
  await photos(page, join(sheet, "photo.jpg"));
  await page.getByText("pixels a millimetre", { exact: false }).waitFor();
  await checked(page);
  const asked = page.getByRole("group", { name: /^What is U/ });
  const n = await asked.count();
  assert.ok(n > 1);
  await asked.first().getByRole("button", { name: "Not a mark" }).click();
  await look(page, "phone-light-10-unclear");
  await page.getByRole("button", { name: "Check again with this answer" }).click();
  await page.getByText("Rests on what you said", { exact: false }).or(page.getByRole("group", { name: /^What is U/ }).nth(n - 2)).first().waitFor({ timeout: 60_000 });
  await page.waitForFunction((was) => document.querySelectorAll(".ask").length < was, n, { timeout: 60_000 });
  const result = JSON.parse(await json(page));
  assert.deepEqual(result.decided.map((d) => [d.by, d.answer]), [["person", "not a mark"]]);
  // A second photo comes to the first.
  await page.locator('section[aria-label="Check again"] input[multiple]').setInputFiles({ name: "second.jpg", mimeType: "image/jpeg", buffer: readFileSync(fixture) });
  await page.getByRole("button", { name: "Check the 2 photos" }).waitFor({ timeout: 60_000 });
  clean(all);
  await context.close();
});

test("keys alone lead from the plan to the answer", async () => {
  const context = await browser.newContext({ ...DESK, acceptDownloads: true });
  const all = await watched(context);
  const { page } = all;
  /** Goes on with the key until the thing of this name has the focus. */
  const reach = async (name, most = 120) => {
    for (let i = 0; i < most; i++) {
      await page.keyboard.press("Tab");
      const at = await page.evaluate(() => {
        const e = document.activeElement;
        return (e.labels?.[0]?.innerText || e.getAttribute("aria-label") || e.innerText || "").trim();
      });
      if (at === name) return;
    }
    assert.fail(`${name} cannot be reached by keys`);
  };
  const choose = async (name, file) => {
    await reach(name);
    const [chooser] = await Promise.all([page.waitForEvent("filechooser"), page.keyboard.press("Enter")]);
    await chooser.setFiles(file);
  };
  await choose("Open a file", fixturePlan);
  await page.getByRole("button", { name: "Next: mark it out" }).waitFor();
  await reach("Next: mark it out");
  await page.keyboard.press("Enter");
  await reach("Marked");
  await page.keyboard.press("Enter");
  await page.getByText("2 of 14").waitFor();
  await reach("Photo");
  await page.keyboard.press("Enter");
  await choose("Choose photos", fixture);
  await page.getByText("pixels a millimetre", { exact: false }).waitFor();
  await reach("Check");
  await page.keyboard.press("Enter");
  await page.locator("header.verdict").waitFor({ timeout: 120_000 });
  clean(all);
  await context.close();
});

test("served by the command line: offline after the first visit, nothing else can be reached", async () => {
  const server = await served();
  const context = await browser.newContext({ ...PHONE });
  try {
    const page = await context.newPage();
    await page.goto(server.address);
    await page.evaluate(() => navigator.serviceWorker.ready.then(() => undefined));
    for (const path of ["../Cargo.toml", "%2e%2e/Cargo.toml", "/etc/passwd", "/x"]) {
      assert.equal((await fetch(new URL(path, server.address))).status, 404, path);
    }
    assert.equal((await fetch(server.address, { method: "POST" })).status, 405);
    server.stop();
    await context.setOffline(true);
    await page.reload();
    await page.getByText("two rows", { exact: false }).first().waitFor();
  } finally {
    server.stop();
    await context.close();
  }
});

test("the JSON is the command line's on sample photos and on two photos together", async (t) => {
  const context = await browser.newContext({ ...DESK, acceptDownloads: true });
  const all = await watched(context);
  const { page } = all;
  const compare = async (plan, files, options) => {
    await tab(page, "Plan");
    const another = page.getByRole("button", { name: "Another piece" });
    if (await another.isVisible()) await another.click();
    await open(page, { name: "plan.toml", mimeType: "application/toml", buffer: readFileSync(plan) });
    await tab(page, "Photo");
    await photos(page, files.map((f) => ({ name: f.name, mimeType: "image/jpeg", buffer: readFileSync(f.from) })));
    await page.getByRole("button", { name: /^Check/ }).and(page.locator(":not([disabled])")).waitFor({ timeout: 60_000 });
    await checked(page);
    const what = files.map((f) => f.from).join(", ");
    const differ = sameJson(await json(page), commandLine(files, plan, options), what);
    if (differ) t.diagnostic(`${differ} parts of budgets differ in their last digit: ${what}`);
  };
  if (existsSync(samples)) {
    for (const name of ["clean_01", "brushed_01", "clean_03"]) {
      await compare(join(samples, name, "plan.toml"), [{ from: join(samples, name, "photo.jpg"), name: "photo.jpg" }], []);
    }
  } else t.diagnostic(`skipped: no sample photos in ${samples}`);
  const strip = join(samples, "../samples-more/strip_02");
  if (existsSync(strip)) {
    await compare(join(strip, "plan.toml"), [1, 2].map((n) => ({ from: join(strip, `photo_${n}.jpg`), name: `photo_${n}.jpg` })), []);
  } else t.diagnostic(`skipped: no strip in ${strip}`);
  // The same photo twice counts once, and the check says so.
  await compare(fixturePlan, ["a.jpg", "b.jpg"].map((name) => ({ from: fixture, name })), []);
  clean(all);
  await context.close();
});
