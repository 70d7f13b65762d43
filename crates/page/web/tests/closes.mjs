// The tab is closed amid a save, again and again: no record that was kept may be lost, and none may be half.
//
//   CLOSES=1000 node tests/closes.mjs

import assert from "node:assert/strict";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { build } from "esbuild";
import { chromium } from "playwright-core";
import { PHONE, fixture, missing, single } from "./support.mjs";

if (missing) {
  console.log(`SKIP: closes amid a save: ${missing}`);
  process.exit(0);
}
const TIMES = Number(process.env.CLOSES ?? 40);
const bundled = await build({ entryPoints: [new URL("../src/zip.ts", import.meta.url).pathname], bundle: true, format: "esm", write: false });
const { zip } = await import(`data:text/javascript,${encodeURIComponent(bundled.outputFiles[0].text)}`);
const bytes = (text) => new TextEncoder().encode(text);
const photo = new Uint8Array(readFileSync(fixture));
const folder = mkdtempSync(join(tmpdir(), "closes-"));

/** A book with one piece of one check. */
async function book(n) {
  const id = `piece${n}`;
  const check = { folder: "p/c", photos: [{ name: "a.jpg", type: "image/jpeg" }], id: `check${n}`, piece: id, title: `Piece ${n}`, at: n, verdict: "ready", counts: "", said: { known: [] }, places: { holes: [], strays: [] }, template: "", summary: "" };
  const list = { format: "punchready.book/1", printers: [], pieces: [{ folder: "p", id, title: `Piece ${n}`, changed: n, ticked: [], said: { known: [] }, checks: [check] }] };
  const files = [["p/plan.toml", "x"], ["p/c/plan.toml", "x"], ["p/c/result.json", JSON.stringify({ n })], ["book.json", JSON.stringify(list)]];
  const path = join(folder, "book.zip");
  writeFileSync(path, Buffer.from(await zip([...files.map(([name, text]) => ({ name, bytes: bytes(text) })), { name: "p/c/a.jpg", bytes: photo }]).arrayBuffer()));
  return path;
}

const context = await chromium.launchPersistentContext(join(folder, "profile"), {
  ...PHONE, executablePath: "/usr/bin/chromium", args: ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});
const keeper = await context.newPage();
await keeper.goto(`${single}#book`);
/** Every check that is there: its number, whether it is whole. */
const kept = () =>
  keeper.evaluate(async (size) => {
    const db = await new Promise((resolve) => {
      const r = indexedDB.open("punchready", 1);
      r.onsuccess = () => resolve(r.result);
    });
    const all = await new Promise((resolve) => {
      const r = db.transaction("checks").objectStore("checks").getAll();
      r.onsuccess = () => resolve(r.result);
    });
    const out = [];
    for (const c of all) {
      const whole = JSON.parse(c.json).n === c.at && c.shots.length === 1 && (await c.shots[0].file.arrayBuffer()).byteLength === size;
      out.push([c.at, whole]);
    }
    db.close();
    return out;
  }, photo.length);

const acknowledged = new Set();
let amid = 0;
for (let n = 1; n <= TIMES; n++) {
  const page = await context.newPage();
  await page.goto(`${single}#book`);
  await page.locator('input[accept*=".zip"]').waitFor({ state: "attached" });
  await page.locator('input[accept*=".zip"]').setInputFiles(await book(n));
  const told = page.getByText("pieces were read", { exact: false }).waitFor({ timeout: 1 + (n * 37) % 120 });
  if (await told.then(() => true, () => false)) acknowledged.add(n);
  await page.close();
  // Reading them all takes longer the more there are: a few go from time to time, once they were seen.
  if (n % 20 === 0 || n === TIMES) {
    const there = await kept();
    assert.deepEqual(there.filter(([, whole]) => !whole), [], "half records");
    const have = new Set(there.map(([at]) => at));
    for (const a of acknowledged) assert.ok(have.has(a), `record ${a} was kept and is gone`);
    amid += 20 - [...acknowledged].length;
    await keeper.evaluate(async () => {
      const db = await new Promise((resolve) => {
        const r = indexedDB.open("punchready", 1);
        r.onsuccess = () => resolve(r.result);
      });
      await new Promise((resolve) => {
        const t = db.transaction(["checks", "pieces"], "readwrite");
        t.objectStore("checks").clear();
        t.objectStore("pieces").clear();
        t.oncomplete = resolve;
      });
      db.close();
    });
    acknowledged.clear();
  }
}
await context.close();
rmSync(folder, { recursive: true, force: true });
console.log(`${TIMES} closes, ${amid} of them before the save was told to be done: no record lost, none half`);
