// The answer: the verdict, what to do at the bench one thing at a time with its place enlarged, unclear ink to answer for,
// what has changed since the last check, the picture, and every hole.

import { useEffect, useMemo, useState } from "preact/hooks";
import { check as run, dropAll, take } from "./photos";
import type { Check, Place } from "./store";
import { change, go, useApp } from "./state";
import { Badge, Files, Notice, canShare, fileName, save, share, onPage, sentence, verdictWord, when } from "./ui";
import { Crop, Viewer } from "./viewer";

interface Hole {
  name: string;
  state: string;
  word?: string;
  offset: [number, number] | null;
  distance: number | null;
  uncertainty: number | null;
  kind: string | null;
  probability: number | null;
}
interface Stray {
  at: [number, number];
  state: string;
  why: string | null;
  name: string | null;
  ringed: boolean;
  size: number;
}
interface Result {
  verdict: Check["verdict"];
  reasons: { code: string; text: string }[];
  holes: Hole[];
  strays: Stray[];
  photos: { file: string; width: number; height: number; left_out: string | null }[];
  bench: string[];
  notes: string[];
  coaching: { text: string }[];
  seen: { fraction: number };
  survey: { rms_px: number | null };
  decided: { name: string; answer: string }[];
  plan: { title: string; units: "in" | "mm"; tolerance: number };
}

export const CAUTION =
  "This helps you look; it does not approve. The drawing, the approved data and a licensed or authorised person decide. Check with a steel rule before drilling; wear eye protection to punch and drill.";

export function AnswerView() {
  const { check, before } = useApp();
  const result = useMemo(() => (check ? (JSON.parse(check.json) as Result) : null), [check?.json]);
  if (!check || !result) return <Notice><p>There is no answer yet.</p></Notice>;
  return (
    <section>
      <header class={`verdict ${check.verdict}`}>
        <Badge verdict={check.verdict} />
        <div>
          <h1>{verdictWord(check.verdict)}</h1>
          <p>{check.title}. {check.counts}.</p>
        </div>
      </header>
      {before && <Changed now={result} was={JSON.parse(before.json) as Result} at={before.at} />}
      <div class="split">
        <div>
          <Steps check={check} result={result} />
          <Answers check={check} result={result} />
          <Reasons result={result} />
          <Next check={check} />
        </div>
        <div>
          <Pictures check={check} result={result} />
          <Holes check={check} result={result} />
        </div>
      </div>
      <Report check={check} />
      <p class="caution">{CAUTION}</p>
    </section>
  );
}

function Reasons({ result }: { result: Result }) {
  return (
    <>
      <h2>Why</h2>
      <ul>{result.reasons.map((r) => <li>{sentence(onPage(r.text))}</li>)}</ul>
      {result.coaching.length > 0 && (
        <><h2>For the next photo</h2><ul>{result.coaching.map((c) => <li>{sentence(onPage(c.text))}</li>)}</ul></>
      )}
      {result.notes.map((n) => <p class="note">{sentence(onPage(n))}</p>)}
    </>
  );
}

/** The places that a sentence of the bench list is about. */
function placesOf(text: string, check: Check, result: Result): Place[] {
  const strays = check.places.strays.filter((s) => s.near && text.includes(s.near) && result.strays[s.stray!]?.state !== "cancelled");
  if (strays.length) return strays;
  const words = new Set(text.split(/[^\p{L}\p{N}._-]+/u).map((w) => w.replace(/[.:,;]+$/, "")));
  return check.places.holes.filter((h) => words.has(h.hole!)).slice(0, 6);
}

function Steps({ check, result }: { check: Check; result: Result }) {
  const [at, setAt] = useState(0);
  const steps = result.bench;
  if (!steps.length) return null;
  const nth = Math.min(at, steps.length - 1);
  const text = steps[nth]!;
  const places = placesOf(text, check, result);
  return (
    <section class="step" aria-label="What to do at the bench">
      <h2>At the bench <small>{nth + 1} of {steps.length}</small></h2>
      <p class="do" aria-live="polite">{sentence(onPage(text))}</p>
      <div class="crops">
        {places.map((p) => <Enlarged check={check} result={result} place={p} key={`${p.hole}/${p.stray}`} />)}
      </div>
      {steps.length > 1 && (
        <div class="buttons">
          <button class="button" disabled={nth === 0} onClick={() => setAt(nth - 1)}>Back</button>
          <button class="button main" disabled={nth + 1 === steps.length} onClick={() => setAt(nth + 1)}>Next</button>
        </div>
      )}
    </section>
  );
}

function Enlarged({ check, result, place }: { check: Check; result: Result; place: Place }) {
  const shot = check.shots[place.photo];
  if (!shot) return null;
  const name = place.hole ?? place.name ?? "extra mark";
  return (
    <figure>
      <Crop shot={shot} place={place} tolerance={result.plan.tolerance} label={`${name} enlarged: ${place.said}`} />
      <figcaption><strong>{name}</strong>: {place.said}</figcaption>
    </figure>
  );
}

/** Unclear marks, to be answered for by the person who sees the metal. */
function Answers({ check, result }: { check: Check; result: Result }) {
  const open = check.places.strays.filter((s) => s.name);
  const [said, setSaid] = useState<Record<string, "mark" | "not a mark">>({});
  if (!open.length) {
    return result.decided.length ? <p class="note">Rests on what you said of {result.decided.map((d) => d.name).join(", ")}.</p> : null;
  }
  const n = Object.keys(said).length;
  const again = () => {
    const places = check.template.split("[[place]]").map((part) => {
      const name = /name = "([^"]+)"/.exec(part)?.[1];
      const answer = name && said[name];
      return answer ? part.replace(/^answer = .*$/m, `answer = "${answer}"`) : part;
    });
    void run(check.shots, places.join("[[place]]"));
  };
  return (
    <section aria-label="Unclear marks">
      <h2>What is this?</h2>
      <p>Look at each of these places on the metal, and say what it is.</p>
      {open.map((place) => (
        <div class="ask">
          <Enlarged check={check} result={result} place={place} />
          <div class="buttons" role="group" aria-label={`What is ${place.name}?`}>
            {(["mark", "not a mark"] as const).map((word) => (
              <button class="button" aria-pressed={said[place.name!] === word} onClick={() => {
                const { [place.name!]: had, ...others } = said;
                setSaid(had === word ? others : { ...others, [place.name!]: word });
              }}>{word === "mark" ? "A mark" : "Not a mark"}</button>
            ))}
          </div>
        </div>
      ))}
      <button class="button main" disabled={n === 0} onClick={again}>Check again with {n === 1 ? "this answer" : `these ${n} answers`}</button>
    </section>
  );
}

function Next({ check }: { check: Check }) {
  const { piece } = useApp();
  if (!piece || piece.id !== check.piece) return null;
  const more = async (files: File[]) => {
    dropAll();
    // The photos of this check stay, the new one comes to them.
    await take(check.shots.map((s) => new File([s.file], s.name, { type: s.file.type })));
    await take(files);
    go("photo");
  };
  const anew = async (files: File[]) => {
    dropAll();
    go("photo");
    await take(files);
  };
  return (
    <section aria-label="Check again">
      <h2>Then</h2>
      <div class="buttons">
        <Files label="Check again: new photo" accept="image/*" camera main={check.verdict !== "ready"} take={anew} />
        <Files label="Add a photo to this one" accept="image/*" camera several take={more} />
      </div>
      <p class="note">A new photo after your corrections shows what has changed. Add a photo where glare or a hand hides something; move nothing between the two but the phone.</p>
    </section>
  );
}

/** The state in words; a check that was kept from before there were such words has the state only. */
const word = (h: Hole) => h.word ?? h.state;

/** What has changed since the last check of the piece. */
function Changed({ now, was, at }: { now: Result; was: Result; at: number }) {
  const before = new Map(was.holes.map((h) => [h.name, h]));
  const holes = now.holes.filter((h) => before.has(h.name) && before.get(h.name)!.state !== h.state);
  const live = (r: Result) => r.strays.filter((s) => s.state !== "cancelled").length;
  const lines = holes.slice(0, 12).map((h) => `${h.name}: ${word(before.get(h.name)!)} → ${word(h)}`);
  if (holes.length > 12) lines.push(`and ${holes.length - 12} more`);
  if (live(now) !== live(was)) lines.push(`other marks: ${live(was)} → ${live(now)}`);
  return (
    <Notice>
      <p><strong>Since {when(at)}:</strong> {was.verdict === now.verdict ? "still" : `${verdictWord(was.verdict).toLowerCase()} →`} {verdictWord(now.verdict).toLowerCase()}.{" "}
        {lines.length ? "" : "Nothing has changed."}</p>
      {lines.length > 0 && <ul>{lines.map((l) => <li>{l}</li>)}</ul>}
    </Notice>
  );
}

function Pictures({ check, result }: { check: Check; result: Result }) {
  const [at, setAt] = useState(0);
  const [chosen, setChosen] = useState<Place | null>(null);
  const touch = ([x, y]: [number, number], reach: number) => {
    const all = [...check.places.holes, ...check.places.strays].filter((p) => p.photo === nth);
    const far = (p: Place) => Math.min(...[p.pixel, p.planned, p.found].map((q) => (q ? Math.hypot(q[0] - x, q[1] - y) : Infinity)));
    const near = all.reduce<Place | null>((best, p) => (far(p) < (best ? far(best) : reach) ? p : best), null);
    setChosen(near);
  };
  const nth = Math.min(at, check.shots.length - 1);
  const photo = result.photos[nth];
  const shot = check.shots[nth];
  if (!photo || !shot) return null;
  return (
    <>
      <h2>The photo</h2>
      {check.shots.length > 1 && (
        <div class="chips" role="group" aria-label="Photo">
          {check.shots.map((s, i) => <button aria-pressed={i === nth} onClick={() => setAt(i)}>{s.name}</button>)}
        </div>
      )}
      {photo.left_out && <p class="fault">{sentence(photo.left_out)}</p>}
      <Viewer key={check.id + nth} shot={shot} signs={check.signs[nth] ?? ""} size={[photo.width, photo.height]} label={`Photo ${shot.name} with every finding on it`} touch={touch} />
      <div aria-live="polite">
        {chosen ? <Figures check={check} result={result} place={chosen} /> : <p class="note">Touch a sign for its figures.</p>}
      </div>
    </>
  );
}

const length = (mm: number | null, result: Result) =>
  mm === null ? "–" : result.plan.units === "in" ? `${(mm / 25.4).toFixed(3)} in` : `${mm.toFixed(2)} mm`;

/** A hole or stray enlarged, with its figures. */
function Figures({ check, result, place, hole }: { check: Check; result: Result; place?: Place; hole?: Hole }) {
  const h = hole ?? result.holes.find((x) => x.name === place?.hole);
  return (
    <div class="figures">
      {place && <Enlarged check={check} result={result} place={place} />}
      {h && (
        <dl>
          <dt>from its place</dt><dd>{length(h.distance, result)}, allowed {length(result.plan.tolerance, result)}</dd>
          {h.offset && <><dt>right, up</dt><dd>{length(h.offset[0], result)}, {length(h.offset[1], result)}</dd></>}
          {h.uncertainty !== null && <><dt>uncertainty U</dt><dd>{length(h.uncertainty, result)}</dd></>}
          {h.kind && <><dt>kind</dt><dd>{h.kind}</dd></>}
          {h.probability !== null && <><dt>how sure it is a mark</dt><dd>{(100 * h.probability).toFixed(1)} %</dd></>}
        </dl>
      )}
    </div>
  );
}

const SHAPES: Record<string, string> = { good: "✓", off: "⇢", close: "≈", missing: "○", cancelled: "✕", double: "‖", unseen: "?" };

function Holes({ check, result }: { check: Check; result: Result }) {
  const [all, setAll] = useState(false);
  const [chosen, setChosen] = useState("");
  const bad = result.holes.filter((h) => h.state !== "good");
  const shown = all ? result.holes : bad;
  const place = check.places.holes.find((p) => p.hole === chosen);
  return (
    <section aria-label="Holes">
      <h2>Holes</h2>
      <div class="chips" role="group" aria-label="Which holes">
        <button aria-pressed={!all} onClick={() => setAll(false)}>To look at ({bad.length})</button>
        <button aria-pressed={all} onClick={() => setAll(true)}>All ({result.holes.length})</button>
      </div>
      {shown.length === 0 && <p>Every hole is good.</p>}
      <ul class="holes">
        {shown.map((h) => (
          <li>
            <button aria-expanded={h.name === chosen} class={h.state} onClick={() => setChosen(h.name === chosen ? "" : h.name)}>
              <span aria-hidden="true">{SHAPES[h.state] ?? "•"}</span><strong>{h.name}</strong><span>{word(h)}</span>
              <span>{h.distance === null ? "" : length(h.distance, result)}</span>
            </button>
            {h.name === chosen && <Figures check={check} result={result} place={place} hole={h} />}
          </li>
        ))}
      </ul>
    </section>
  );
}

function Report({ check }: { check: Check }) {
  const name = fileName(check.title);
  const gone = () => document.querySelector("iframe.printed")?.remove();
  // Not every browser says when it has printed.
  useEffect(() => gone, []);
  const print = () => {
    gone();
    const frame = document.createElement("iframe");
    frame.className = "printed";
    frame.title = "The report";
    frame.srcdoc = check.report ?? "";
    frame.onload = () => {
      const inner = frame.contentWindow!;
      inner.onafterprint = gone;
      inner.focus();
      inner.print();
    };
    document.body.append(frame);
  };
  return (
    <section aria-label="Report">
      <h2>Keep, print, send</h2>
      <p>Kept in the record book on {when(check.at)}.</p>
      <div class="buttons">
        <button class="button" disabled={!check.report} onClick={print}>Print the report</button>
        <button class="button" disabled={!check.report} onClick={() => save(`${name}.html`, check.report!, "text/html")}>Save the report</button>
        {canShare() && <button class="button" disabled={!check.report} onClick={() => share(`${name}.html`, check.report!, "text/html")}>Share it</button>}
        <button class="button" onClick={() => save(`${name}.json`, check.json, "application/json")}>Save the JSON</button>
        <button class="button" onClick={() => { change({}); go("book"); }}>Record book</button>
      </div>
      {!check.report && <p class="waiting" role="status">Drawing the report…</p>}
    </section>
  );
}
