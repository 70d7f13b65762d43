// What needs no browser: the plan's text, ZIP files.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { mkdtempSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { test } from "node:test";
import { build } from "esbuild";

const load = async (name) => {
  const done = await build({ entryPoints: [new URL(`../src/${name}.ts`, import.meta.url).pathname], bundle: true, format: "esm", write: false });
  return import(`data:text/javascript,${encodeURIComponent(done.outputFiles[0].text)}`);
};

test("lengths as people type them", async () => {
  const { typed } = await load("toml");
  assert.equal(typed(" 7,9 "), "7.9");
  assert.equal(typed("14,3mm"), "14.3mm");
  assert.equal(typed("2 17/32"), "2 17/32");
  assert.equal(typed("1,2,3"), "1.2,3");
});

test("a plan's text, and where its faults belong", async () => {
  const { write, placeOf } = await load("toml");
  const { text, lines } = write({
    title: 'A "b" \\ c', units: "in", sheet: { width: "12", height: "8 1/2", thickness: "" },
    row: [{ name: "7", along: "bottom", pitch: "0,5", count: 3, stations: ["5/8", "1"], skip: [], stagger: true }],
  });
  assert.equal(
    text,
    'title = "A \\"b\\" \\\\ c"\nunits = "in"\n\n[sheet]\nwidth = 12\nheight = "8 1/2"\n\n[[row]]\nname = "7"\nalong = "bottom"\npitch = 0.5\ncount = 3\nstations = ["5/8", 1]\nstagger = true\n',
  );
  const fault = (line, key) => ({ line, column: 1, key, text: "", hint: null });
  assert.equal(placeOf(fault(6, "[sheet]: height"), lines), "sheet.height");
  assert.equal(placeOf(fault(11, "row 7: pitch"), lines), "row.0.pitch");
  assert.equal(placeOf(fault(8, "row 7: edge_distance"), lines), "row.0.edge_distance");
  assert.equal(placeOf(fault(1, "[tolerance]"), lines), "tolerance.position");
});

test("ZIP files, there and back and by another program", async () => {
  const { zip, unzip } = await load("zip");
  const bytes = (text) => new TextEncoder().encode(text);
  const entries = [{ name: "größe/a.txt", bytes: bytes("one") }, { name: "b.bin", bytes: new Uint8Array(100_000).map((_, i) => i * 7) }];
  const packed = zip(entries);
  assert.deepEqual(await unzip(packed), entries);
  const folder = mkdtempSync(join(tmpdir(), "zip-"));
  const file = join(folder, "a.zip");
  writeFileSync(file, Buffer.from(await packed.arrayBuffer()));
  const said = execFileSync("python3", ["-c", "import sys,zipfile; z=zipfile.ZipFile(sys.argv[1]); print(z.testzip(), z.namelist())", file]).toString();
  assert.match(said, /^None \['größe\/a.txt', 'b.bin'\]/);
  // Packed by another program.
  execFileSync("python3", ["-c", "import sys,zipfile; zipfile.ZipFile(sys.argv[1],'w',zipfile.ZIP_DEFLATED).writestr('c.txt','two'*1000)", file]);
  const { readFileSync } = await import("node:fs");
  const read = await unzip(new Blob([readFileSync(file)]));
  assert.equal(new TextDecoder().decode(read[0].bytes), "two".repeat(1000));
  for (const broken of [bytes("no zip"), bytes(""), new Uint8Array(await packed.arrayBuffer()).slice(0, -30)]) {
    await assert.rejects(unzip(new Blob([broken])));
  }
  const damaged = new Uint8Array(await packed.arrayBuffer());
  damaged[44] ^= 1;
  await assert.rejects(unzip(new Blob([damaged])), /damaged/);
});
