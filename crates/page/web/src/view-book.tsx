// The record book: pieces and their checks, by date and name; exported and imported as one ZIP.

import { useEffect, useState } from "preact/hooks";
import * as store from "./store";
import type { Check, Piece } from "./store";
import { app, change, go, open, tell } from "./state";
import { Badge, Files, fileName, save, verdictWord, when } from "./ui";
import { type Entry, unzip, zip } from "./zip";

interface Kept {
  piece: Piece;
  checks: Check[];
}

async function read(): Promise<Kept[]> {
  const [pieces, checks] = await Promise.all([store.all("pieces"), store.all("checks")]);
  return pieces
    .map((piece) => ({ piece, checks: checks.filter((c) => c.piece === piece.id).sort((a, b) => b.at - a.at) }))
    .sort((a, b) => latest(b) - latest(a));
}
const latest = (k: Kept) => Math.max(k.piece.changed, ...k.checks.map((c) => c.at));

export function BookView() {
  const [kept, setKept] = useState<Kept[] | null>(null);
  const [wanted, setWanted] = useState("");
  const [room, setRoom] = useState<number | null>(null);
  const [sure, setSure] = useState("");
  const load = () => {
    read().then(setKept, tell);
    store.room().then(setRoom, tell);
  };
  useEffect(load, []);
  const shown = (kept ?? []).filter((k) => k.piece.title.toLowerCase().includes(wanted.trim().toLowerCase()));
  const show = async (piece: Piece, check?: Check) => {
    await open(piece, check);
    go(check ? "answer" : "plan");
  };
  const remove = async (k: Kept) => {
    try {
      for (const c of k.checks) await store.remove("checks", c.id);
      await store.remove("pieces", k.piece.id);
      if (app.piece?.id === k.piece.id) change({ piece: null, plan: null, tables: null, check: null, before: null, shots: [] });
      setSure("");
      load();
    } catch (e) {
      tell(e);
    }
  };
  return (
    <section>
      <h1>Record book</h1>
      <p>Kept in this browser only. Export it from time to time: a browser that runs out of room may throw it away.</p>
      <div class="buttons">
        <button class="button" disabled={!kept?.length} onClick={() => export_(kept!).catch(tell)}>Export all as ZIP</button>
        <Files label="Import a ZIP" accept=".zip,application/zip" take={([f]) => f && import_(f).then(load, tell)} />
        <button class="button" onClick={() => { change({ piece: null, plan: null, tables: null, check: null, before: null }); go("plan"); }}>New piece</button>
      </div>
      {room !== null && room < 200e6 && <p class="fault">Only {Math.round(room / 1e6)} MB of room are left for records.</p>}
      {(kept?.length ?? 0) > 3 && (
        <div class="field"><label for="wanted">Find by name</label><input id="wanted" type="search" value={wanted} onInput={(e) => setWanted(e.currentTarget.value)} /></div>
      )}
      {kept?.length === 0 && <p>Nothing is kept yet.</p>}
      {shown.map((k) => (
        <article class="kept" aria-label={k.piece.title}>
          <h2>{k.piece.title}</h2>
          <p class="note">changed {when(k.piece.changed)}</p>
          <ul class="list">
            {k.checks.map((c) => (
              <li><button class="item check" onClick={() => show(k.piece, c)}>
                <span class={`mini ${c.verdict}`}><Badge verdict={c.verdict} /></span>
                <span><strong>{verdictWord(c.verdict)}</strong> {when(c.at)}<br />{c.counts}</span>
              </button></li>
            ))}
          </ul>
          <div class="buttons">
            <button class="button" onClick={() => show(k.piece)}>Open the plan</button>
            {sure === k.piece.id
              ? <button class="button grave" onClick={() => remove(k)}>Really delete, with {k.checks.length} checks</button>
              : <button class="button quiet" onClick={() => setSure(k.piece.id)}>Delete</button>}
          </div>
        </article>
      ))}
    </section>
  );
}

const FORMAT = "punchready.book/1";

/** Each piece a folder: its plan, and of each check the JSON, the page, the signs and the photos as files to be read without this page. */
async function export_(kept: Kept[]): Promise<void> {
  const bytes = (text: string) => new TextEncoder().encode(text);
  const entries: Entry[] = [];
  const list: object[] = [];
  for (const { piece, checks } of kept) {
    const folder = `${fileName(piece.title)}-${piece.id.slice(0, 6)}`;
    entries.push({ name: `${folder}/plan.toml`, bytes: bytes(piece.plan) });
    const listed: object[] = [];
    for (const c of checks) {
      const at = `${folder}/${new Date(c.at).toISOString().slice(0, 19).replaceAll(":", "-")}-${c.id.slice(0, 6)}`;
      entries.push({ name: `${at}/plan.toml`, bytes: bytes(c.plan) });
      entries.push({ name: `${at}/result.json`, bytes: bytes(c.json) });
      if (c.report) entries.push({ name: `${at}/report.html`, bytes: bytes(c.report) });
      if (c.answers) entries.push({ name: `${at}/answers.toml`, bytes: bytes(c.answers) });
      for (const [i, s] of c.signs.entries()) entries.push({ name: `${at}/signs-${i + 1}.svg`, bytes: bytes(s) });
      for (const s of c.shots) entries.push({ name: `${at}/${s.name}`, bytes: new Uint8Array(await s.file.arrayBuffer()) });
      const { json: _j, report: _r, answers: _a, signs: _s, plan: _p, shots, ...rest } = c;
      listed.push({ folder: at, photos: shots.map((s) => ({ name: s.name, type: s.file.type })), ...rest });
    }
    const { plan: _plan, ...rest } = piece;
    list.push({ folder, ...rest, checks: listed });
  }
  entries.push({ name: "book.json", bytes: bytes(JSON.stringify({ format: FORMAT, pieces: list, printers: await store.all("printers") }, null, 1)) });
  save(`punchready-${new Date().toISOString().slice(0, 10)}.zip`, zip(entries), "application/zip");
}

interface Listed extends Omit<Piece, "plan"> {
  folder: string;
  checks: (Omit<Check, "json" | "report" | "answers" | "signs" | "plan" | "shots"> & { folder: string; photos: { name: string; type: string }[] })[];
}

/** Puts what is in the file beside what is there. A record of the same origin is put in its place. */
async function import_(file: File): Promise<void> {
  const entries = new Map((await unzip(file)).map((e) => [e.name, e.bytes]));
  const text = (name: string) => {
    const found = entries.get(name);
    return found ? new TextDecoder().decode(found) : null;
  };
  const book = JSON.parse(text("book.json") ?? "{}") as { format?: string; pieces: Listed[]; printers: store.Printer[] };
  if (book.format !== FORMAT) throw new Error("this ZIP holds no record book; choose one that was exported here");
  const named = (r: { id: unknown; title: unknown }) => typeof r.id === "string" && typeof r.title === "string";
  if (!book.pieces.every((p) => named(p) && p.checks.every(named))) throw new Error("the record book in this ZIP is damaged; export it anew");
  const room = await store.room();
  if (room !== null && room < file.size) throw new Error("there is no room for these records; delete what is old first");
  for (const printer of book.printers) await store.put("printers", printer);
  for (const { folder, checks, ...piece } of book.pieces) {
    await store.put("pieces", { ...piece, plan: text(`${folder}/plan.toml`) ?? "" });
    for (const { folder: at, photos, ...check } of checks) {
      const signs: string[] = [];
      for (let i = 1; entries.has(`${at}/signs-${i}.svg`); i++) signs.push(text(`${at}/signs-${i}.svg`)!);
      await store.put("checks", {
        ...check, plan: text(`${at}/plan.toml`) ?? "", json: text(`${at}/result.json`) ?? "{}",
        report: text(`${at}/report.html`), answers: text(`${at}/answers.toml`), signs,
        shots: photos.map((p) => ({ name: p.name, file: new Blob([entries.get(`${at}/${p.name}`) ?? ""], { type: p.type }) })),
      });
    }
  }
  change({ told: { text: `${book.pieces.length} pieces were read from ${file.name}.`, grave: false } });
}
