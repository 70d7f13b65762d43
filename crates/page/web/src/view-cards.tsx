// Cards: the page to print, what a rule shows on its bars, and where to lay them.

import { useEffect, useState } from "preact/hooks";
import { Drawing } from "./drawing";
import { ask } from "./engine";
import * as store from "./store";
import { app, go, planIsGood, setSaid, tell, useApp } from "./state";
import { typed } from "./toml";
import { Choice, Field, Notice, Pick, canShare, save, share } from "./ui";

interface Foreseen {
  least: string | null;
  most: string | null;
  at: string | null;
  lost: number;
  unseen: number;
}
interface Coverage {
  height_mm: number;
  px_per_mm: number;
  photos: [number, number][];
  cards: { number: number; at: [number, number]; half: [number, number]; on_face: boolean }[];
  unit: string;
  unsaid: Foreseen;
  measured: Foreseen;
  sided: Foreseen;
}

export function CardsView() {
  const { plan, piece } = useApp();
  const [paper, setPaper] = useState("a4");
  const [shape, setShape] = useState(plan && Math.min(plan.width, plan.height) < 60 ? "strip" : "square");
  const [page, setPage] = useState<{ pdf: Uint8Array<ArrayBuffer>; url: string } | null>(null);
  useEffect(() => {
    let url = "";
    ask({ ask: "cards", paper, shape }).then(({ files: [pdf, svg] }) => {
      url = URL.createObjectURL(new Blob([svg!], { type: "image/svg+xml" }));
      setPage({ pdf: pdf!, url });
    }, tell);
    return () => URL.revokeObjectURL(url);
  }, [paper, shape]);
  const name = `punchready-cards-${shape}-${paper}.pdf`;
  return (
    <section>
      <h1>Cards</h1>
      <div class="split">
        <div>
          <h2>Print them</h2>
          <div class="two">
            <Pick label="Paper" value={paper} set={setPaper} of={[["a4", "A4"], ["letter", "Letter"]]} />
            <Pick label="Shape" value={shape} set={setShape} of={[["square", "Square"], ["strip", "Strip"]]} />
          </div>
          <div class="buttons">
            <button class="button main" disabled={!page} onClick={() => page && save(name, page.pdf, "application/pdf")}>Save the PDF</button>
            {canShare() && <button class="button" disabled={!page} onClick={() => page && share(name, page.pdf, "application/pdf")}>Share it</button>}
          </div>
          <p>Print at 100 %, “actual size”, never “fit to page”. {shape === "strip" ? "Strips are for narrow work." : ""}</p>
          {page && <img class="sheet-of-cards" src={page.url} alt={`A page of twelve ${shape} cards with two bars in the margin`} />}
        </div>
        <div>
          <Bars />
          {plan && piece && planIsGood() && <Coverage key={piece.plan} text={piece.plan} />}
          <div class="buttons"><button class="button main" onClick={() => go("photo")}>Next: the photo</button></div>
        </div>
      </div>
    </section>
  );
}

/** What the rule shows on the bars, as the command line takes it. */
export function barsOf(across: string, down: string, units: "in" | "mm" | undefined): string | undefined {
  const one = (text: string) => {
    const plain = typed(text);
    // A bare number is millimetres: that is what stands on the cards.
    return /^[\d.]+$/.test(plain) ? `${plain}mm` : plain;
  };
  void units;
  return across.trim() && down.trim() ? `${one(across)},${one(down)}` : undefined;
}

export function Bars() {
  const { piece, plan } = useApp();
  const [printers, setPrinters] = useState<store.Printer[]>([]);
  const [across, setAcross] = useState("");
  const [down, setDown] = useState("");
  const [name, setName] = useState("");
  const [kept, setKept] = useState("");
  useEffect(() => {
    store.all("printers").then((all) => setPrinters(all.sort((a, b) => b.at - a.at)), tell);
    const [a, d] = piece?.said.bars?.split(",") ?? [];
    setAcross(a ?? "");
    setDown(d ?? "");
  }, [piece?.id]);
  const put = (a: string, d: string) => {
    setAcross(a);
    setDown(d);
    setKept("");
    setSaid({ bars: barsOf(a, d, plan?.units) });
  };
  const keep = async () => {
    const printer = { name: name.trim() || "My printer", across, down, at: Date.now() };
    try {
      await store.put("printers", printer);
      setPrinters([printer, ...printers.filter((p) => p.name !== printer.name)]);
      setKept(printer.name);
    } catch (e) {
      tell(e);
    }
  };
  const one = (across.trim() === "") !== (down.trim() === "");
  return (
    <>
      <h2>Measure the bars</h2>
      <p>Lay a steel rule on the two bars in the margin of the printed page, or on those of one card, to 0.1 mm. Printers are wrong by some tenths of a percent.</p>
      {printers.length > 0 && (
        <Choice label="Kept from before" value="" set={(n) => {
          const p = printers.find((x) => x.name === n);
          if (p) {
            put(p.across, p.down);
            setName(p.name);
          }
        }} of={[["", "choose a printer"], ...printers.map((p): [string, string] => [p.name, `${p.name}: ${p.across}, ${p.down}`])]} />
      )}
      <div class="two">
        <Field label="Across shows" example="99.8" value={across} set={(v) => put(v, down)} faults={one && !across.trim() ? ["both are needed"] : []} note="millimetres, or 3 15/16in" />
        <Field label="Down shows" example="100.1" value={down} set={(v) => put(across, v)} faults={one && !down.trim() ? ["both are needed"] : []} />
      </div>
      {across.trim() && down.trim() && (
        <div class="two">
          <Field label="Name of the printer" value={name} set={setName} example="Office" />
          <div class="field end"><button class="button" onClick={keep}>Keep for this printer</button></div>
        </div>
      )}
      {kept && <p role="status">Kept for {kept}. Measure again when paper or settings change.</p>}
    </>
  );
}

function Coverage({ text }: { text: string }) {
  const [seen, setSeen] = useState<Coverage | null>(null);
  const [refused, setRefused] = useState("");
  useEffect(() => {
    ask<Coverage>({ ask: "coverage", text }).then((a) => setSeen(a.json), (e: Error) => setRefused(e.message));
  }, [text]);
  const { plan } = app;
  if (!plan) return null;
  if (refused) return <Notice><p>{refused}</p></Notice>;
  if (!seen) return <p class="waiting">Working out where to lay them…</p>;
  const out = (axis: 0 | 1, sign: 1 | -1, size: number) =>
    Math.max(0, ...seen.cards.map((c) => sign * c.at[axis] + c.half[axis] - (sign > 0 ? size : 0)));
  const room: [number, number, number, number] = [out(0, -1, 0), out(1, -1, 0), out(0, 1, plan.width), out(1, 1, plan.height)];
  const several = seen.photos.length > 1;
  return (
    <>
      <h2>Lay them so</h2>
      <Drawing plan={plan} room={room} label={`Where to lay ${seen.cards.length} cards round the sheet`} over={(f) => (
        <>
          {seen.cards.map((c) => (
            <g class="card">
              <rect x={f.x(c.at[0] - c.half[0])} y={f.y(c.at[1] + c.half[1])} width={2 * c.half[0]} height={2 * c.half[1]} stroke-width={f.unit * 0.4} />
              <text x={f.x(c.at[0])} y={f.y(c.at[1]) + f.unit * 1.2} font-size={f.unit * 3.6}>{c.number}</text>
            </g>
          ))}
          {several && seen.photos.map((p, i) => (
            <text class="aim" x={f.x(p[0])} y={f.y(p[1])} font-size={f.unit * 4}>photo {i + 1}</text>
          ))}
        </>
      )} />
      <p>
        {seen.cards.length} cards, flat, level with the marked face, each number once; any numbers will do. {several ? `${seen.photos.length} photos` : "One photo"} from
        about {Math.round(seen.height_mm / 10)} cm above the sheet.{several && " Move only the phone between them."}
      </p>
      <p>
        Marks will be known to {seen.measured.least} – {seen.measured.most} {seen.unit} with the bars measured,
        {" "}{seen.unsaid.most} {seen.unit} at worst without. {advice(seen)}
      </p>
    </>
  );
}

function advice(seen: Coverage): string {
  if (seen.measured.unseen) return `${seen.measured.unseen} holes are in no photo.`;
  if (seen.unsaid.lost === 0) return "Every hole can be proven.";
  if (seen.measured.lost === 0) return `Measure the bars: without, ${seen.unsaid.lost} holes cannot be proven however well they are marked.`;
  if (seen.sided.lost === 0) return `Measure the bars and the sheet's longer side: without, ${seen.measured.lost} holes cannot be proven.`;
  return `${seen.sided.lost} holes cannot be proven from these photos: take them from nearer, or check those holes with a steel rule.`;
}
