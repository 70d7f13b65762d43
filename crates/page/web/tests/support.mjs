// What the browser tests share: the browser, the page, the command line, and what must never happen.

import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { existsSync, mkdtempSync, readFileSync, cpSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const here = dirname(fileURLToPath(import.meta.url));
export const root = join(here, "../../../..");
export const built = join(root, "target/page");
export const single = pathToFileURL(join(built, "punchready.html")).href;
export const fixture = join(root, "fixtures/hatch-cover.jpg");
export const fixturePlan = join(root, "fixtures/hatch-cover.toml");
export const program = join(root, "target/release/punchready");
export const samples = process.env.PUNCHREADY_SAMPLES ?? join(root, "../shared/samples");
const axe = readFileSync(join(here, "../node_modules/axe-core/axe.min.js"), "utf8");
const CHROMIUM = ["/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome"].find(existsSync);

/** Why the tests cannot run here; null where they can. */
export const missing = !CHROMIUM ? "no Chromium here" : !existsSync(join(built, "punchready.html")) ? "the page was not built" : !existsSync(program) ? "the command line was not built" : null;

export const PHONE = { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true, deviceScaleFactor: 2 };
export const DESK = { viewport: { width: 1280, height: 800 } };

export const launch = () =>
  chromium.launch({
    executablePath: CHROMIUM,
    args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
  });

/** A page that keeps account of what it asks the network for and of what goes wrong in it. */
export async function watched(context, address = single) {
  const page = await context.newPage();
  const wrong = [];
  const asked = [];
  page.on("console", (m) => ["error", "warning"].includes(m.type()) && wrong.push(m.text()));
  page.on("pageerror", (e) => wrong.push(String(e)));
  page.on("request", (r) => asked.push(r.url()));
  await page.goto(address);
  await page.waitForSelector("nav");
  return { page, wrong, asked };
}

/** What axe finds, in words. */
export async function violations(page) {
  await page.evaluate(axe);
  const found = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
  return found.violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.map((n) => n.target.join(" ")).join(", ")}`);
}

/** Text smaller than 16 px, by its words. */
export const small = (page) =>
  page.evaluate(() => {
    const out = [];
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
      const text = walk.currentNode.data.trim();
      const at = walk.currentNode.parentElement;
      if (!text || !at || at.closest("svg, script, style, noscript, option") || !at.checkVisibility()) continue;
      if (parseFloat(getComputedStyle(at).fontSize) < 16) out.push(text);
    }
    return out;
  });

/** The command line's JSON of photos in one folder. */
export function commandLine(files, plan, options) {
  const folder = mkdtempSync(join(tmpdir(), "punchready-"));
  for (const f of files) cpSync(f.from, join(folder, f.name));
  cpSync(plan, join(folder, "plan.toml"));
  const args = ["check", ...files.map((f) => f.name), "--plan", "plan.toml", ...options, "--json", "-"];
  try {
    return execFileSync(program, args, { cwd: folder, env: { ...process.env, RAYON_NUM_THREADS: "1" } }).toString();
  } catch (e) {
    // Not ready and cannot tell have exit statuses of their own.
    if (e.status === 1 || e.status === 3) return e.stdout.toString();
    throw e;
  }
}

/** The page as the command line serves it; its address, and how to stop it. */
export async function served() {
  const server = spawn(program, ["page", "--serve", "--port", "0", "--folder", built]);
  const address = await new Promise((resolve, reject) => {
    let said = "";
    server.stdout.on("data", (d) => {
      said += d;
      const found = /http:\/\/\S+/.exec(said);
      if (found) resolve(found[0]);
    });
    server.on("exit", () => reject(new Error(`the server ended: ${said}`)));
  });
  return { address, stop: () => server.kill() };
}

export const tab = (page, word) => page.getByRole("navigation").getByRole("link", { name: word, exact: true }).click();

export async function saved(page, act) {
  const [download] = await Promise.all([page.waitForEvent("download"), act()]);
  const path = await download.path();
  return { name: download.suggestedFilename(), path, bytes: readFileSync(path) };
}

/** One unit of a budget's last digit, mm, and rounding. */
const BUDGET_MM = 1.01e-5;

/**
 * Holds the JSON of the page against the command line's: the same bytes, but for a unit of the last digit in the parts of
 * budgets. Sines differ in the last bit between the two, and where the survey stops turns on it; how many parts differ is given back.
 */
export function sameJson(own, native, what) {
  const budget = /"budget":\{[^}]*\}/g;
  assert.equal(own.replace(budget, ""), native.replace(budget, ""), what);
  const [a, b] = [own, native].map((text) => text.match(budget) ?? []);
  assert.equal(a.length, b.length);
  let differ = 0;
  a.forEach((text, i) => {
    const [x, y] = [text, b[i]].map((t) => JSON.parse(t.slice('"budget":'.length)));
    for (const part of Object.keys(y)) {
      assert.ok(Math.abs(x[part] - y[part]) < BUDGET_MM, `${what}: ${part} ${x[part]}, ${y[part]}`);
      differ += x[part] !== y[part];
    }
  });
  return differ;
}
