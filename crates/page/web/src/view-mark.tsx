// Marking out: the stations of a row in large type, each from the same end, ticked off as they are marked.

import { useEffect, useState } from "preact/hooks";
import { Drawing } from "./drawing";
import { go, tick, useApp } from "./state";
import { Notice } from "./ui";

export function MarkView() {
  const { plan, piece } = useApp();
  const [which, setWhich] = useState(0);
  const [at, setAt] = useState(0);
  const table = plan?.tables[Math.min(which, plan.tables.length - 1)];
  useEffect(() => {
    // Go on where the row was left.
    const first = table?.lines.findIndex((l) => !piece?.ticked.includes(`${table.title}/${l.hole}`)) ?? 0;
    setAt(Math.max(first, 0));
  }, [which, plan?.title]);
  if (!plan || !piece || !table) return <Notice><p>There is no plan yet that can be marked.</p></Notice>;
  const nth = Math.min(at, table.lines.length - 1);
  const line = table.lines[nth]!;
  const key = (hole: string) => `${table.title}/${hole}`;
  const isDone = (hole: string) => piece.ticked.includes(key(hole));
  const done = table.lines.filter((l) => isDone(l.hole)).length;
  const marked = () => {
    if (!isDone(line.hole)) tick(key(line.hole));
    const next = table.lines.findIndex((l, i) => i > nth && !isDone(l.hole));
    if (next >= 0) setAt(next);
  };
  const last = done === table.lines.length;
  return (
    <section class="split">
      <div class="beside low">
        <Drawing plan={plan} label={`Where ${line.hole} is`} chosen={(h) => h === line.hole} done={isDone} pick={(h) => {
          const i = table.lines.findIndex((l) => l.hole === h);
          if (i >= 0) setAt(i);
        }} />
      </div>
      <div>
        <h1 class="small">Mark out {table.title}</h1>
        {plan.tables.length > 1 && (
          <div class="chips line" role="group" aria-label="Row">
            {plan.tables.map((t, i) => <button aria-pressed={t === table} onClick={() => setWhich(i)}>{t.title.replace(/^row |^single /, "")}</button>)}
          </div>
        )}
        <p>{table.place && <>{upper(table.place)}. </>}Every place from <strong>{table.datum}</strong>, never from the hole before.</p>
        <div class={`station${isDone(line.hole) ? " done" : ""}`} aria-live="polite">
          <p class="hole-name">{line.hole} <small>{nth + 1} of {table.lines.length}{isDone(line.hole) ? ", marked" : ""}</small></p>
          <p class="big">{line.near.text}</p>
          <p>{line.exact}{line.near.off === "0" ? ", exactly" : `; rounding: ${line.near.off} ${plan.units === "in" ? "in" : "mm"}`}</p>
          {line.shared && <p class="note">Marked with another row, or drilled already.</p>}
        </div>
        <div class="buttons stay">
          <button class="button" disabled={nth === 0} onClick={() => setAt(nth - 1)}>Back</button>
          {last ? <button class="button main" onClick={() => (which + 1 < plan.tables.length ? setWhich(which + 1) : go("cards"))}>{which + 1 < plan.tables.length ? "Next row" : "Next: cards"}</button>
            : <button class="button main" onClick={marked}>{isDone(line.hole) ? "Next" : "Marked"}</button>}
          {isDone(line.hole) && <button class="button" onClick={() => tick(key(line.hole))}>Not marked</button>}
        </div>
        <ol class="stations">
          {table.lines.map((l, i) => (
            <li class={isDone(l.hole) ? "done" : ""}>
              <button aria-current={i === nth ? "step" : undefined} onClick={() => setAt(i)}>
                <span>{isDone(l.hole) ? "✓ " : ""}{l.hole}</span><strong>{l.near.text}</strong><span>{l.exact}</span>
              </button>
            </li>
          ))}
        </ol>
        {table.rounding.map((r) => <p class="note">Rounding to {r.name} takes up to {r.share}.{r.advice && ` Better: ${r.advice}.`}</p>)}
      </div>
    </section>
  );
}

const upper = (text: string) => text.charAt(0).toUpperCase() + text.slice(1);
