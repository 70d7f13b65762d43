// Photos: taken or chosen, looked at while the sheet still lies there, then checked.

import { useEffect, useState } from "preact/hooks";
import { cancel } from "./engine";
import { check, drop, take } from "./photos";
import { type Taken, app, planIsGood, setSaid, useApp } from "./state";
import { Bars } from "./view-cards";
import { Field, Files, Notice, Pick, onPage, sentence } from "./ui";
import { typed } from "./toml";
import { copy } from "./viewer";

/** The stages of a check, in words. */
const STAGES: [string, string][] = [
  ["decode", "reading the photo"], ["cards", "finding the cards"], ["blur", "sharpness"], ["survey", "measuring the camera"],
  ["sheet", "finding the sheet's edges"], ["ink", "reading the marks"], ["merge", "putting photos together"], ["verdict", "comparing with the plan"],
];

export function PhotoView() {
  const { plan, piece, shots, running } = useApp();
  if (!plan || !piece || !planIsGood()) return <Notice><p>The plan has to be right first.</p></Notice>;
  if (running) return <Running done={running} />;
  const ready = shots.length > 0 && shots.every((s) => s.look || s.refused);
  const refused = shots.some((s) => s.refused);
  return (
    <section>
      <h1>Photo</h1>
      <div class="split">
        <div>
          <p>
            The whole sheet with all its edges and the cards, on a bench of another brightness. From above, tilted a little so that neither lamp nor
            phone mirrors in the metal. No zoom.
          </p>
          <div class="buttons even">
            <Files label="Take a photo" accept="image/*" camera main={shots.length === 0} take={take} />
            <Files label="Choose photos" accept="image/*" several take={take} />
          </div>
          {shots.map((s) => <ShotCard shot={s} key={s.name} />)}
        </div>
        <div>
          <Said />
        </div>
      </div>
      <div class="buttons stay">
        <button class="button main wide" disabled={!ready || refused} onClick={() => check(shots, null)}>
          {shots.length > 1 ? `Check the ${shots.length} photos` : "Check"}
        </button>
      </div>
    </section>
  );
}

function Running({ done }: { done: string[] }) {
  const last = Math.max(-1, ...done.map((d) => STAGES.findIndex(([s]) => s === d)));
  const now = STAGES[Math.min(last + 1, STAGES.length - 1)]![1];
  return (
    <section class="running">
      <h1>Checking</h1>
      <progress max={STAGES.length} value={last + 1} aria-label="Stages done" />
      <p role="status">{now.charAt(0).toUpperCase() + now.slice(1)}…</p>
      <button class="button" onClick={cancel}>Cancel</button>
    </section>
  );
}

function ShotCard({ shot }: { shot: Taken }) {
  const { look, refused } = shot;
  const stopped = refused || look?.stops;
  return (
    <article class={`shot${stopped ? " bad" : ""}`} aria-label={shot.name}>
      {(look || refused) && <Seen shot={shot} />}
      <div>
        <h2>{shot.name}</h2>
        {!look && !refused && <p role="status">A first look…</p>}
        {refused && <p class="fault">{refused.message}{refused.hint && ` ${refused.hint}.`}</p>}
        {look && (
          <p class="tell">
            <strong>{look.stops ? "✕ This photo cannot be measured." : look.better.length ? "! It can be measured." : "✓ Good."}</strong>{" "}
            {look.cards.length} {look.cards.length === 1 ? "card" : "cards"}
            {look.sheet ? ", all of the sheet" : ""}
            {look.px_per_mm ? `, ${look.px_per_mm.toFixed(1)} pixels a millimetre` : ""}.
          </p>
        )}
        {look?.stops && <p class="fault">{sentence(onPage(look.stops.text))}</p>}
        {look && look.better.length > 0 && <ul>{look.better.map((b) => <li>{sentence(b)}</li>)}</ul>}
        {look?.warnings.map((w) => <p class="note">{sentence(w)}</p>)}
        {look && !look.knows_lens && !shot.turned && <p class="note">The file does not say which lens it was taken with: places far from the cards are less certain. Use the original from the phone.</p>}
        {shot.turned && <p class="note">{shot.turned}</p>}
        <button class="button quiet" onClick={() => drop(shot.name)}>Take it out</button>
      </div>
    </article>
  );
}

/** The photo, small, with what was found outlined. */
function Seen({ shot }: { shot: Taken }) {
  const { look } = shot;
  const [small, setSmall] = useState("");
  useEffect(() => {
    let url = "";
    let gone = false;
    // A small copy: a page of full photos would fill the phone's memory.
    copy(shot.file, 640)
      .then((small) => {
        if (gone) return;
        url = URL.createObjectURL(small);
        setSmall(url);
      })
      .catch(() => undefined);
    return () => {
      gone = true;
      URL.revokeObjectURL(url);
    };
  }, [shot.file]);
  if (!small) return null;
  const points = (corners: [number, number][]) => corners.map((c) => c.join(",")).join(" ");
  return (
    <div class="seen">
      <img src={small} alt={`Photo ${shot.name}`} />
      {look && (
        <svg viewBox={`0 0 ${look.size[0]} ${look.size[1]}`} aria-hidden="true">
          {look.sheet && <polygon points={points(look.sheet)} class="found-sheet" />}
          {look.cards.map((c) => <polygon points={points(c.corners)} class="found-card" />)}
        </svg>
      )}
    </div>
  );
}

/** A side measured by rule. A number without a unit is in the plan's. */
function ByRule(p: { label: string; name: string; planned: string }) {
  const { piece, plan } = useApp();
  const others = piece!.said.known.filter((k) => !k.startsWith(`${p.name}=`));
  const [text, setText] = useState(piece!.said.known.find((k) => !others.includes(k))?.split("=")[1] ?? "");
  const set = (now: string) => {
    setText(now);
    const plain = typed(now);
    const unit = /[a-z"″]/i.test(plain) ? "" : plan!.units;
    setSaid({ known: plain ? [...others, `${p.name}=${plain}${unit}`] : others });
  };
  return <Field label={p.label} value={text} set={set} note={`planned ${p.planned}`} />;
}

/** What is said besides the plan. */
function Said() {
  const { piece, plan } = useApp();
  const said = piece!.said;
  const thickness = plan!.thickness;
  const lie = said.card_below === undefined ? "unsaid" : said.card_below === "0mm" ? "level" : "bench";
  const corners: [string, string][] = [["", "the marks tell"], ["lower-left", "lower left"], ["lower-right", "lower right"], ["upper-right", "upper right"], ["upper-left", "upper left"]];
  return (
    <>
      <Bars />
      <Pick label="The cards beside the sheet lie" value={lie} of={[["level", "level with its face, on scrap of the same thickness"], ["bench", "on the bench"], ["unsaid", "I don't know"]]}
        set={(v) => setSaid({ card_below: v === "level" ? "0mm" : v === "bench" ? `${(thickness ?? 1).toFixed(2)}mm` : undefined })} />
      {lie === "bench" && thickness === null && (
        <Field label="Thickness of the sheet" value={said.card_below ?? ""} set={(v) => setSaid({ card_below: typed(v) })} note="such as 1mm or 0.040in" />
      )}
      <Pick label="How far the work is" value={said.stage ?? "marked"} of={[["marked", "marked"], ["punched", "punched"], ["drilled", "drilled"]]}
        set={(v) => setSaid({ stage: v === "marked" ? undefined : v })} />
      <details>
        <summary>More that helps</summary>
        <div class="two">
          <ByRule label="Width, measured with a steel rule" name="sheet-width" planned={plan!.width_said} />
          <ByRule label="Height, measured with a steel rule" name="sheet-height" planned={plan!.height_said} />
        </div>
        <div class="field">
          <label for="corner">The plan's lower left corner is, in the photo, at the</label>
          <select id="corner" value={said.datum_corner ?? ""} onChange={(e) => setSaid({ datum_corner: e.currentTarget.value || undefined })}>
            {corners.map(([v, w]) => <option value={v} selected={v === (said.datum_corner ?? "")}>{w}</option>)}
          </select>
        </div>
      </details>
      {!app.piece!.said.bars && <p class="note">Without the bars the print counts as uncertain by half a percent.</p>}
    </>
  );
}
