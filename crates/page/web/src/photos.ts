// Photos: taken in, looked at, checked, kept.

import { ask } from "./engine";
import * as store from "./store";
import type { Check, Shot } from "./store";
import { type Look, PLAN_NAME, type Taken, app, change, go, tell } from "./state";
import { Refusal } from "./engine";

/** Of a record, besides its photos: JSON, signs, page; bytes, generous. */
const RECORD_BYTES = 5e6;

/** Whether the library reads it as it is: JPEG or PNG, by its first bytes. */
async function isRead(file: Blob): Promise<boolean> {
  const head = new Uint8Array(await file.slice(0, 8).arrayBuffer());
  return (head[0] === 0xff && head[1] === 0xd8) || (head[0] === 0x89 && head[1] === 0x50);
}

/** Another format, read by the browser and written as JPEG. What it notes of the camera is lost on the way. */
async function turned(file: File): Promise<Blob> {
  const picture = await createImageBitmap(file).catch(() => null);
  if (!picture) throw new Refusal(`${file.name}: this browser cannot read it`, "save or share the photo as JPEG, at full size");
  const canvas = new OffscreenCanvas(picture.width, picture.height);
  canvas.getContext("2d")!.drawImage(picture, 0, 0);
  picture.close();
  return canvas.convertToBlob({ type: "image/jpeg", quality: 0.97 });
}

/** A name of its own among the photos: cameras of some phones call every photo the same. */
function ownName(name: string, others: Shot[]): string {
  const [stem, ending] = [name.replace(/\.[^.]*$/, ""), /\.[^.]*$/.exec(name)?.[0] ?? ".jpg"];
  let own = name;
  for (let n = 2; others.some((o) => o.name === own); n++) own = `${stem}-${n}${ending}`;
  return own;
}

export async function take(files: Iterable<File>): Promise<void> {
  change({ told: null });
  for (const file of files) {
    try {
      const read = await isRead(file);
      const name = read ? file.name : file.name.replace(/\.[^.]*$/, "") + ".jpg";
      // A copy: the file on the phone may be gone before it is checked.
      const kept = read ? new Blob([await file.arrayBuffer()], { type: file.type }) : await turned(file);
      const shot: Taken = { name: ownName(name, app.shots), file: kept, url: URL.createObjectURL(kept) };
      if (!read) {
        shot.turned =
          "The browser turned this photo into JPEG. What it noted of the lens is lost: places far from the cards are less certain. Have the phone save JPEG for the best result.";
      }
      change({ shots: [...app.shots, shot].sort(byName) });
      await lookAt(shot.name);
    } catch (e) {
      tell(e);
    }
  }
}

/** The order of the command line: by bytes of the name. */
const byName = (a: Shot, b: Shot) => {
  const [x, y] = [a.name, b.name].map((n) => new TextEncoder().encode(n)) as [Uint8Array, Uint8Array];
  for (let i = 0; i < Math.min(x.length, y.length); i++) if (x[i] !== y[i]) return x[i]! - y[i]!;
  return x.length - y.length;
};

async function lookAt(name: string): Promise<void> {
  const shot = app.shots.find((s) => s.name === name);
  if (!shot || !app.piece) return;
  let seen: Partial<Taken>;
  try {
    const request = { ask: "look", plan: app.piece.plan, name, said: app.piece.said };
    seen = { look: (await ask<Look>(request, [shot.file])).json, refused: undefined };
  } catch (e) {
    if (!(e instanceof Refusal)) return tell(e);
    seen = { refused: e };
  }
  change({ shots: app.shots.map((s) => (s.name === name ? { ...s, ...seen } : s)) });
}

export function drop(name: string): void {
  const shot = app.shots.find((s) => s.name === name);
  if (shot) URL.revokeObjectURL(shot.url);
  change({ shots: app.shots.filter((s) => s !== shot) });
}

export const dropAll = () => {
  for (const shot of app.shots) URL.revokeObjectURL(shot.url);
  change({ shots: [] });
};

interface Result {
  template: string;
  summary: string;
  counts: string;
  places: Check["places"];
}

/** Checks the photos, with answers if there are any, keeps the record, and shows it. */
export async function check(shots: Shot[], answers: string | null): Promise<void> {
  const { piece } = app;
  if (!piece) return;
  change({ running: [], told: null });
  try {
    const needed = shots.reduce((n, s) => n + s.file.size, RECORD_BYTES);
    const room = await store.room();
    if (room !== null && room < needed) {
      throw new Refusal("there is no room left for this record", "export the record book, then delete what is old, and check again");
    }
    const request = {
      ask: "check", plan: piece.plan, plan_name: PLAN_NAME, names: shots.map((s) => s.name), said: piece.said, answers,
    };
    const stage = (name: string) => app.running && change({ running: [...app.running, name] });
    const { json, files } = await ask<Result>(request, shots.map((s) => s.file), stage);
    const text = files.map((f) => new TextDecoder().decode(f));
    const verdict = JSON.parse(text[0]!).verdict as Check["verdict"];
    const done: Check = {
      id: store.newId(), piece: piece.id, title: app.plan?.title ?? piece.title, at: Date.now(), verdict,
      counts: json.counts, plan: piece.plan, said: piece.said, answers,
      shots: shots.map(({ name, file }) => ({ name, file })), json: text[0]!, signs: text.slice(1),
      places: json.places, template: json.template, summary: json.summary, report: null,
    };
    await store.put("checks", done);
    // Asks the browser not to throw records away when room runs short; some ask the user.
    void navigator.storage?.persist?.();
    const before = app.check?.piece === piece.id ? app.check : null;
    change({ check: done, before, running: null });
    go("answer");
    await report(done);
  } catch (e) {
    change({ running: null });
    tell(e);
  }
}

/** Makes the command line's page of the check that the library did last, and puts it to the record. */
async function report(done: Check): Promise<void> {
  const { files } = await ask({ ask: "report" });
  const whole = { ...done, report: new TextDecoder().decode(files[0]) };
  // Unless the record was deleted meanwhile.
  if (await store.get("checks", done.id)) await store.put("checks", whole);
  if (app.check?.id === done.id) change({ check: whole });
}
