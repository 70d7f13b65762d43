// The plan: begun from a starter or a file, filled in as a form or as text, with the drawing and what is wrong as one types.

import { useEffect, useState } from "preact/hooks";
import { Drawing } from "./drawing";
import { Refusal, ask } from "./engine";
import { app, begin, change, go, planIsGood, setTables, setText, tell, useApp } from "./state";
import { type Table, type Tables, type Value, placeOf } from "./toml";
import { Choice, Field, Files, Notice, canShare, fileName, save, share } from "./ui";

const EMPTY = `title = "My sheet"
units = "in"

[sheet]
width = 12
height = 6

[rivet]
diameter = "1/8"

[tolerance]
position = "1/32"

[[row]]
name = "A"
along = "bottom"
edge_distance = "5/16"
first = "5/8"
pitch = "5/8"
count = 10
`;

interface Starter {
  name: string;
  about: string;
  text: string;
}

export async function openFile(file: File, units?: "in" | "mm"): Promise<void> {
  try {
    if (/\.toml$/i.test(file.name)) {
      await begin(await file.text());
      return;
    }
    if (!/\.(csv|txt|dxf)$/i.test(file.name)) {
      throw new Refusal(`${file.name}: its ending says no kind of plan`, "choose a .toml, .csv or .dxf file");
    }
    const request = { ask: "import", name: file.name, ...(units ? { units } : {}) };
    const { json } = await ask<{ needs?: string; text: string; holes: number; sheet_known: boolean; warnings: string[]; left_out: string[] }>(request, [file]);
    if (json.needs === "units") {
      change({ told: null });
      pending = file;
      change({});
      return;
    }
    pending = null;
    await begin(json.text);
    const said = [
      `${json.holes} holes from ${file.name}.`,
      ...(json.sheet_known ? [] : ["The file does not show the sheet's size: put it right below."]),
      ...json.warnings,
      ...json.left_out.map((l) => `Left out: ${l}`),
    ];
    change({ told: { text: said.join(" "), hint: "Compare it with the drawing before you mark from it.", grave: false } });
  } catch (e) {
    tell(e);
  }
}

/** A file that does not say its unit. */
let pending: File | null = null;

export function PlanView() {
  const { piece } = useApp();
  return piece ? <Edit /> : <Start />;
}

export function Start() {
  const [starters, setStarters] = useState<Starter[]>([]);
  useEffect(() => {
    ask<Starter[]>({ ask: "starters" }).then((a) => setStarters(a.json), tell);
  }, []);
  return (
    <section>
      <h1>A second look before you punch</h1>
      <p>
        Say where the holes should be, mark the sheet, take a photo with printed cards in it: every mark that is missing, extra or out of place is
        named. All of it happens in this browser. Nothing is sent anywhere.
      </p>
      <h2>Begin with a plan</h2>
      <div class="buttons">
        <button class="button main" onClick={() => begin(EMPTY)}>Fill in a form</button>
        <Files label="Open a file" accept=".toml,.csv,.txt,.dxf" take={([f]) => f && openFile(f)} />
      </div>
      {pending && (
        <Notice>
          <p>{pending.name} does not say its unit. What are its numbers?</p>
          <div class="buttons">
            <button class="button" onClick={() => openFile(pending!, "in")}>Inches</button>
            <button class="button" onClick={() => openFile(pending!, "mm")}>Millimetres</button>
          </div>
        </Notice>
      )}
      <h2>Or from an example</h2>
      <ul class="list">
        {starters.map((s) => (
          <li><button class="item" onClick={() => begin(s.text)}><strong>{s.name.replaceAll("-", " ")}</strong><span>{s.about}</span></button></li>
        ))}
      </ul>
    </section>
  );
}

function Edit() {
  const { piece, tables, plan, faults } = useApp();
  const [asText, setAsText] = useState(false);
  if (!piece) return null;
  if (!tables && !faults.length) return <p class="waiting" role="status">Reading the plan…</p>;
  const text = asText || !tables;
  const name = `${fileName(piece.title)}.toml`;
  return (
    <section class="split">
      <div class="beside">
        {plan && <Drawing plan={plan} stale={faults.length > 0} label={`Drawing of ${plan.title}: ${plan.holes.length} holes on a sheet of ${plan.width_said} by ${plan.height_said}`} />}
        {plan && (
          <p class="sum">
            {plan.holes.length} {plan.holes.length === 1 ? "hole" : "holes"}, within {plan.tolerance_said}
            {faults.length > 0 && " (as it was before the last change)"}
          </p>
        )}
      </div>
      <div>
        <h1 class="small">{piece.title}</h1>
        <div class="tabs" role="group" aria-label="How to write the plan">
          <button aria-pressed={!text} disabled={!tables} onClick={() => setAsText(false)}>Form</button>
          <button aria-pressed={text} onClick={() => setAsText(true)}>Text</button>
        </div>
        {text ? <AsText /> : <Form tables={tables!} />}
        <Findings />
        <div class="buttons">
          <button class="button main" disabled={!planIsGood()} onClick={() => go("mark")}>Next: mark it out</button>
          <button class="button" onClick={() => save(name, piece.plan, "application/toml")}>Save the plan</button>
          {canShare() && <button class="button" onClick={() => share(name, piece.plan, "text/plain")}>Share it</button>}
          <button class="button" disabled={!planIsGood()} onClick={printed}>Drawing as PDF</button>
          <button class="button" onClick={() => change({ piece: null, plan: null, tables: null, check: null, before: null })}>Another piece</button>
        </div>
      </div>
    </section>
  );
}

async function printed(): Promise<void> {
  if (!app.piece) return;
  const paper = app.plan?.units === "in" ? "letter" : "a4";
  try {
    const { files } = await ask({ ask: "drawing", text: app.piece.plan, paper });
    save(`${fileName(app.piece.title)}-drawing.pdf`, files[0]!, "application/pdf");
  } catch (e) {
    tell(e);
  }
}

/** What handbooks say of the plan's distances. */
function Findings() {
  const { plan, faults } = useApp();
  if (!plan || faults.length) return null;
  const titles = {
    under: "Under a published least value, or in each other's way",
    beyond: "Over a published or usual greatest value",
    advice: "Worth a look",
    recalled: "Under a value that is remembered only: look it up",
  };
  const kinds = (Object.keys(titles) as (keyof typeof titles)[]).filter((k) => plan.findings.some((f) => f.gravity === k));
  return (
    <section aria-label="Held against handbooks">
      {kinds.map((k) => (
        <Notice>
          <h3>{titles[k]}</h3>
          <ul>{plan.findings.filter((f) => f.gravity === k).map((f) => <li>{f.text}</li>)}</ul>
        </Notice>
      ))}
      <p class="note">{plan.authority}</p>
    </section>
  );
}

function AsText() {
  const { piece, faults } = useApp();
  return (
    <>
      <div class="field">
        <label for="plan-text">The plan as text (TOML)</label>
        <textarea id="plan-text" rows={18} spellcheck={false} autocapitalize="off" value={piece!.plan} onInput={(e) => setText(e.currentTarget.value)} aria-describedby="plan-faults" />
      </div>
      <ul id="plan-faults" class="faults" aria-live="polite">
        {faults.map((f) => <li class="fault">Line {f.line}: {f.key && `${f.key}: `}{f.text}{f.hint && <em> {f.hint}</em>}</li>)}
      </ul>
    </>
  );
}

/** Field of the form: which key, what it is called, what it may look like. */
type Of = [key: string, label: string, example?: string];

const ROW_MAIN: Of[] = [["edge_distance", "From that edge to the row", "5/16"]];
const WAYS: Record<string, { word: string; keys: Of[] }> = {
  pitch: { word: "first hole, spacing, how many", keys: [["first", "First hole, from the end", "5/8"], ["pitch", "Spacing", "5/8"], ["count", "How many", "10"]] },
  last: { word: "first hole, last hole, how many", keys: [["first", "First hole, from the end", "5/8"], ["last", "Last hole, from the same end", "6 15/16"], ["count", "How many", "10"]] },
  stations: { word: "each place by itself", keys: [["stations", "Places from the end, with commas between: 5/8; 1 1/4; 2", ""]] },
};
const ENDS: Record<string, string> = { bottom: "left edge", top: "left edge", left: "bottom edge", right: "bottom edge" };
const WORDS: Record<string, string> = {
  last_from_end: "Last hole, from the far end", pitch_about: "Spacing, about", pitch_min: "Spacing, least", pitch_max: "Spacing, most",
  offset_from: "Level with row", offset: "Distance from that row", stagger: "Midway between its holes", skip: "Stations left out",
  share: "Holes shared with other rows", centre: "Centre (x, y)", start_angle: "First hole at, degrees", end_angle: "Last hole at, degrees",
  column_pitch: "Spacing along", line_pitch: "Spacing of the lines", columns: "Columns", lines: "Lines", at: "First hole (x, y)",
};

function Form({ tables }: { tables: Tables }) {
  const { faults, lines } = useApp();
  const told = (path: string) =>
    faults.filter((f) => placeOf(f, lines) === path).map((f) => f.text + (f.hint ? ` (${f.hint})` : ""));
  const known = new Set<string>();
  const at = (path: string) => {
    known.add(path);
    return told(path);
  };
  /** Of a table with these fields: what is wrong with it as a whole, or with a key that has no field. */
  const rest = (path: string, fields: string[]) =>
    faults
      .filter((f) => {
        const place = placeOf(f, lines);
        return place === path || (place.startsWith(`${path}.`) && !fields.includes(place.slice(path.length + 1)));
      })
      .map((f) => f.text + (f.hint ? ` (${f.hint})` : ""));
  const table = (key: string) => (tables[key] as Table | undefined) ?? {};
  const list = (key: string) => (tables[key] as Table[] | undefined) ?? [];
  const put = (key: string, value: Value | Table | Table[]) => setTables({ ...tables, [key]: value });
  const inTable = (key: string, field: string, value: Value) => put(key, { ...table(key), [field]: value });
  const inList = (key: string, i: number, patch: Table) => put(key, list(key).map((t, j) => (j === i ? patch : t)));
  const field = (key: string, [name, label, example]: Of) => (
    <Field label={label} example={example} value={shown(table(key)[name])} set={(v) => inTable(key, name, v)} faults={at(`${key}.${name}`)} />
  );
  const rows = list("row");
  const next = (prefix: string, all: Table[]) => {
    let n = 1;
    while (all.some((t) => t.name === `${prefix}${n}`)) n++;
    return `${prefix}${n}`;
  };
  const letter = () => [..."ABCDEFGHJKLMNPQRSTUVWXYZ"].find((l) => !rows.some((r) => r.name === l)) ?? next("R", rows);

  const body = (
    <>
      <Field label="Name of the piece" value={shown(tables.title as Value)} set={(v) => put("title", v)} faults={at("title")} />
      <Choice label="Numbers without a unit are" value={String(tables.units ?? "")} set={(v) => put("units", v)} of={[["in", "inches"], ["mm", "millimetres"]]} faults={at("units")} />
      <p class="note">Lengths as you write them: 0.5, 5/8, 2 17/32, 14.3mm, 14,3mm.</p>
      <fieldset class="part"><legend>Sheet</legend>
        <div class="two">{field("sheet", ["width", "Width, to the right", "12"])}{field("sheet", ["height", "Height, upwards", "6"])}</div>
        {field("sheet", ["thickness", "Thickness", "0.040"])}
      </fieldset>
      <fieldset class="part"><legend>Rivet and tolerance</legend>
        <div class="two">{field("rivet", ["diameter", "Rivet diameter", "1/8"])}{field("tolerance", ["position", "Mark may be out by", "1/32"])}</div>
        <Choice label="Head" value={shown(table("rivet").head)} set={(v) => inTable("rivet", "head", v)} of={[["", "not said"], ["protruding", "protruding"], ["countersunk", "countersunk"]]} faults={at("rivet.head")} />
        {Object.keys(table("rivet")).includes("drill") && field("rivet", ["drill", "Drill"])}
        {Object.keys(table("tolerance")).includes("risk") && field("tolerance", ["risk", "Risk of a wrong answer at a hole"])}
        {tables.seen !== undefined && field("seen", ["fraction", "Share of the face to be seen"])}
      </fieldset>
      {rows.map((row, i) => <Row row={row} path={`row.${i}`} at={told} rest={rest} put={(t) => inList("row", i, t)} remove={() => put("row", rows.filter((_, j) => j !== i))} />)}
      {(["grid", "circle"] as const).map((kind) =>
        list(kind).map((t, i) => (
          <Other title={`${kind === "grid" ? "Grid" : "Circle"} ${t.name ?? ""}`} table={t} path={`${kind}.${i}`} at={told} rest={rest} put={(v) => inList(kind, i, v)} remove={() => put(kind, list(kind).filter((_, j) => j !== i))} />
        )),
      )}
      {list("hole").length > 0 && (
        <fieldset class="part"><legend>Single holes</legend>
          {list("hole").map((t, i) => {
            const set = (key: string) => (v: string) => inList("hole", i, { ...t, [key]: v });
            return (
              <div class="single">
                <Field label="Hole" value={shown(t.name)} set={set("name")} faults={[...told(`hole.${i}.name`), ...rest(`hole.${i}`, ["name", "x", "y"])]} />
                <Field label="From left" value={shown(t.x)} set={set("x")} faults={told(`hole.${i}.x`)} />
                <Field label="From bottom" value={shown(t.y)} set={set("y")} faults={told(`hole.${i}.y`)} />
                <button class="button quiet" aria-label={`Take out hole ${t.name}`} onClick={() => put("hole", list("hole").filter((_, j) => j !== i))}>✕</button>
                {t.drilled === true && <p class="note">Drilled already: nothing is to be marked there.</p>}
              </div>
            );
          })}
        </fieldset>
      )}
      <div class="buttons">
        <button class="button" onClick={() => put("row", [...rows, { name: letter(), along: "bottom", edge_distance: "5/16", first: "5/8", pitch: "5/8", count: "5" }])}>+ Row</button>
        <button class="button" onClick={() => put("circle", [...list("circle"), { name: next("K", list("circle")), centre: ["3", "3"], diameter: "2", count: "6" }])}>+ Circle</button>
        <button class="button" onClick={() => put("hole", [...list("hole"), { name: next("P", list("hole")), x: "1", y: "1" }])}>+ Single hole</button>
      </div>
    </>
  );
  // Faults of what has no field here are told too, each once.
  const elsewhere = faults.filter((f) => {
    const place = placeOf(f, lines);
    return !known.has(place) && !/^(row|grid|circle|hole)\.\d/.test(place);
  });
  return (
    <div class="form">
      {body}
      {elsewhere.length > 0 && (
        <Notice grave><ul>{elsewhere.map((f) => <li>{f.key && `${f.key}: `}{f.text}{f.hint && ` (${f.hint})`}</li>)}</ul></Notice>
      )}
    </div>
  );
}

const shown = (v: Value | undefined): string => (v === undefined ? "" : Array.isArray(v) ? v.map(shown).join("; ") : String(v));
/** A list is typed with semicolons, or with commas where none of them is a decimal one. */
const listed = (text: string): Value[] => (text.includes(";") ? text.split(";") : text.split(/,\s+|,(?=\s*$)/)).map((t) => t.trim()).filter(Boolean);

interface Part {
  path: string;
  at: (path: string) => string[];
  rest: (path: string, fields: string[]) => string[];
  put: (table: Table) => void;
  remove: () => void;
}

function Row({ row, path, at, rest, put, remove }: Part & { row: Table }) {
  const way = "stations" in row ? "stations" : "last" in row && !("pitch" in row) ? "last" : "pitch" in row && !("last" in row) ? "pitch" : "";
  const along = "along" in row;
  const plain = along && way !== "" && Object.keys(row).every((k) => ["name", "along", "edge_distance", "skip", ...WAYS[way]!.keys.map(([n]) => n)].includes(k));
  if (!plain) return <Other title={`Row ${row.name ?? ""}`} table={row} path={path} at={at} rest={rest} put={put} remove={remove} />;
  const set = (key: string, value: Value) => put({ ...row, [key]: value });
  const other = (to: string) => {
    const { name, along: edge, edge_distance, skip } = row;
    const kept: Table = { name: name ?? "", along: edge ?? "bottom", edge_distance: edge_distance ?? "", ...(skip ? { skip } : {}) };
    for (const [key] of WAYS[to]!.keys) kept[key] = row[key] ?? (key === "stations" ? [] : "");
    put(kept);
  };
  return (
    <fieldset class="part">
      <legend>Row {shown(row.name)}</legend>
      {rest(path, ["name", "along", "edge_distance", "skip", ...WAYS[way]!.keys.map(([n]) => n)]).map((f) => <p class="fault">{f}</p>)}
      <div class="two">
        <Field label="Name" value={shown(row.name)} set={(v) => set("name", v)} faults={at(`${path}.name`)} />
        <Choice label="Along the edge" value={String(row.along)} set={(v) => set("along", v)} of={["bottom", "top", "left", "right"].map((e) => [e, e])} faults={at(`${path}.along`)} />
      </div>
      {ROW_MAIN.map(([key, label, example]) => <Field label={label} example={example} value={shown(row[key])} set={(v) => set(key, v)} faults={at(`${path}.${key}`)} />)}
      <Choice label="Holes given by" value={way} set={other} of={Object.entries(WAYS).map(([k, w]) => [k, w.word])} />
      <p class="note">Counted from the {ENDS[String(row.along)] ?? "end"}.</p>
      <div class="three">
        {WAYS[way]!.keys.map(([key, label, example]) => (
          <Field label={label} example={example} value={shown(row[key])} set={(v) => set(key, key === "stations" ? listed(v) : v)} faults={at(`${path}.${key}`)} />
        ))}
      </div>
      {"skip" in row && <Field label="Stations left out" value={shown(row.skip)} set={(v) => set("skip", listed(v))} faults={at(`${path}.skip`)} />}
      <button class="button quiet" onClick={remove}>Take out row {shown(row.name)}</button>
    </fieldset>
  );
}

/** A table of another kind: every key that it has. */
function Other({ title, table, path, at, rest, put, remove }: Part & { title: string; table: Table }) {
  return (
    <fieldset class="part">
      <legend>{title}</legend>
      {rest(path, Object.keys(table)).map((f) => <p class="fault">{f}</p>)}
      <div class="two">
        {Object.entries(table).map(([key, value]) => {
          const label = WORDS[key] ?? key.charAt(0).toUpperCase() + key.slice(1).replaceAll("_", " ");
          if (typeof value === "boolean") {
            return (
              <label class="tickbox"><input type="checkbox" checked={value} onChange={(e) => put({ ...table, [key]: e.currentTarget.checked })} /> {label}</label>
            );
          }
          return <Field label={label} value={shown(value)} set={(v) => put({ ...table, [key]: Array.isArray(value) ? listed(v) : v })} faults={at(`${path}.${key}`)} />;
        })}
      </div>
      <button class="button quiet" onClick={remove}>Take out {title.toLowerCase()}</button>
    </fieldset>
  );
}
