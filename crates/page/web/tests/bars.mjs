// What the page may cost, measured in Chromium on this machine: its size, the first look, the whole check against the command
// line with one thread in the same run, and the memory of the tab.

import { execFileSync } from "node:child_process";
import { readFileSync, readdirSync } from "node:fs";
import { join } from "node:path";
import { gzipSync } from "node:zlib";
import { PHONE, built, fixture, fixturePlan, launch, missing, program, tab, watched } from "./support.mjs";

if (missing) {
  console.log(`SKIP: the page's bars: ${missing}`);
  process.exit(0);
}
const BARS = { size_mb: 2.5, look_s: 0.7, times_native: 1.3, memory_mb: 250 };
const ROUNDS = 7;
const least = (all) => Math.min(...all);
const median = (all) => [...all].sort((a, b) => a - b)[all.length >> 1];
let failed = false;
const bar = (what, value, most, unit) => {
  const holds = value <= most;
  failed ||= !holds;
  console.log(`${holds ? "pass" : "FAIL"} ${what} ${value.toFixed(2)} ${unit}, bar ${most} ${unit}`);
};

bar("page, compressed", gzipSync(readFileSync(join(built, "punchready.html")), { level: 9 }).length / 1e6, BARS.size_mb, "MB");

const browser = await launch();
const { page } = await watched(await browser.newContext(PHONE));

/** Proportional set size of all processes that show pages, MB (proc(5), from memory). */
function rendererMb() {
  let most = 0;
  for (const pid of readdirSync("/proc").filter((d) => /^\d+$/.test(d))) {
    try {
      if (!readFileSync(`/proc/${pid}/cmdline`, "utf8").includes("--type=renderer")) continue;
      const kb = /^Pss:\s+(\d+)/m.exec(readFileSync(`/proc/${pid}/smaps_rollup`, "utf8"));
      most = Math.max(most, kb ? Number(kb[1]) / 1000 : 0);
    } catch {
      // It has ended.
    }
  }
  return most;
}

await page.locator('input[type="file"][accept*=".toml"]').setInputFiles(fixturePlan);
await page.getByRole("button", { name: "Next: mark it out" }).waitFor();
await tab(page, "Photo");
const rest = rendererMb();
const looks = [];
const checks = [];
const natives = [];
let memory = 0;
let after = 0;
let checking = false;
const watch = setInterval(() => {
  const mb = rendererMb();
  if (checking) memory = Math.max(memory, mb);
  after = Math.max(after, mb);
}, 25);
const native = () => {
  const args = ["check", fixture, "--plan", fixturePlan, "--quiet", "--timings",];
  try {
    execFileSync(program, args, { env: { ...process.env, RAYON_NUM_THREADS: "1" }, stdio: ["ignore", "ignore", "pipe"] });
  } catch (e) {
    const total = /^total\s+([\d.]+) ms/m.exec(e.stderr.toString());
    natives.push(Number(total[1]) / 1e3);
  }
};
for (let i = 0; i < ROUNDS; i++) {
  native();
  // Timed in the page, from the file's coming to what is shown of it.
  await page.evaluate(() => {
    performance.clearMarks();
    const input = document.querySelector('input[type="file"][multiple]');
    input.addEventListener("change", () => performance.mark("from"), { capture: true, once: true });
    new MutationObserver((_, o) => {
      if (document.querySelector(".shot .tell")) {
        performance.mark("to");
        o.disconnect();
      }
    }).observe(document.body, { childList: true, subtree: true });
  });
  await page.locator('input[type="file"][multiple]').setInputFiles(fixture);
  await page.locator(".shot .tell").waitFor();
  looks.push((await page.evaluate(() => performance.measure("look", "from", "to").duration)) / 1e3);
  await page.evaluate(() => {
    addEventListener("click", () => performance.mark("asked"), { capture: true, once: true });
    new MutationObserver((_, o) => {
      if (document.querySelector("header.verdict")) {
        performance.mark("answered");
        o.disconnect();
      }
    }).observe(document.body, { childList: true, subtree: true });
  });
  checking = true;
  await page.getByRole("button", { name: /^Check/ }).click();
  await page.locator("header.verdict").waitFor();
  checking = false;
  checks.push((await page.evaluate(() => performance.measure("check", "asked", "answered").duration)) / 1e3);
  await page.getByRole("button", { name: "Print the report" }).and(page.locator(":not([disabled])")).waitFor();
  await tab(page, "Photo");
  await page.getByRole("button", { name: "Take it out" }).click();
}
clearInterval(watch);
await browser.close();
console.log(`first looks ${looks.map((x) => x.toFixed(2))} s; checks ${checks.map((x) => x.toFixed(2))} s; native ${natives.map((x) => x.toFixed(2))} s; tab at rest ${rest.toFixed(0)} MB, most with report and pictures ${after.toFixed(0)} MB`);
bar("first look, median", median(looks), BARS.look_s, "s");
bar("whole check, fastest against fastest native", least(checks) / least(natives), BARS.times_native, "times");
bar("tab during the check", memory, BARS.memory_mb, "MB");
process.exitCode = failed ? 1 : 0;
