// Small parts that all views are made of.

import type { ComponentChildren } from "preact";
import { useId } from "preact/hooks";

export function Field(p: {
  label: string;
  value: string;
  set: (text: string) => void;
  note?: string;
  faults?: string[];
  example?: string;
  numeric?: boolean;
}) {
  const id = useId();
  const faults = p.faults ?? [];
  return (
    <div class={`field${faults.length ? " wrong" : ""}`}>
      <label for={id}>{p.label}</label>
      <input
        id={id} type="text" autocomplete="off" autocapitalize="off" spellcheck={false} value={p.value}
        placeholder={p.example} aria-invalid={faults.length > 0} aria-describedby={`${id}-note`}
        onInput={(e) => p.set(e.currentTarget.value)}
      />
      <div id={`${id}-note`} class="notes">
        {faults.map((f) => <p class="fault">{f}</p>)}
        {p.note && <p class="note">{p.note}</p>}
      </div>
    </div>
  );
}

export function Choice(p: { label: string; value: string; set: (v: string) => void; of: [string, string][]; faults?: string[] }) {
  const id = useId();
  return (
    <div class={`field${p.faults?.length ? " wrong" : ""}`}>
      <label for={id}>{p.label}</label>
      <select id={id} value={p.value} onChange={(e) => p.set(e.currentTarget.value)}>
        {p.of.map(([value, word]) => <option value={value} selected={value === p.value}>{word}</option>)}
      </select>
      {p.faults?.map((f) => <p class="fault">{f}</p>)}
    </div>
  );
}

/** One of a few, all in view. */
export function Pick(p: { label: string; value: string; set: (v: string) => void; of: [string, string][] }) {
  const id = useId();
  return (
    <fieldset class="pick">
      <legend>{p.label}</legend>
      <div>
        {p.of.map(([value, word]) => (
          <label class={value === p.value ? "on" : ""}>
            <input type="radio" name={id} value={value} checked={value === p.value} onChange={() => p.set(value)} />
            <span>{word}</span>
          </label>
        ))}
      </div>
    </fieldset>
  );
}

export function Files(p: { label: string; accept: string; camera?: boolean; several?: boolean; main?: boolean; take: (files: File[]) => void }) {
  const id = useId();
  return (
    <span class="files">
      <input
        id={id} type="file" accept={p.accept} multiple={p.several} class="hidden"
        {...(p.camera ? { capture: "environment" as const } : {})}
        onChange={(e) => {
          const files = [...(e.currentTarget.files ?? [])];
          // So that the same file can be chosen again.
          e.currentTarget.value = "";
          if (files.length) p.take(files);
        }}
      />
      <label for={id} class={`button${p.main ? " main" : ""}`}>{p.label}</label>
    </span>
  );
}

const WORDS = { ready: "Ready", "not-ready": "Not ready", "cannot-tell": "Cannot tell" } as const;
export type Verdict = keyof typeof WORDS;
export const verdictWord = (v: Verdict) => WORDS[v];

/** A shape of its own for each verdict: round, eight corners, four corners. */
export function Badge({ verdict }: { verdict: Verdict }) {
  return (
    <svg class="badge" viewBox="0 0 40 40" aria-hidden="true">
      {verdict === "ready" && <><circle cx="20" cy="20" r="17" class="shape" /><path d="M11 21l6 6 12-14" class="stroke" /></>}
      {verdict === "not-ready" && (
        <><path d="M13 3h14l10 10v14L27 37H13L3 27V13z" class="shape" /><path d="M13 13l14 14M27 13L13 27" class="stroke" /></>
      )}
      {verdict === "cannot-tell" && (
        <><path d="M20 2l18 18-18 18L2 20z" class="shape" /><path d="M15 16c0-7 10-7 10-1 0 4-5 4-5 8" class="stroke" /><circle cx="20" cy="28.5" r="1.6" class="dot" /></>
      )}
    </svg>
  );
}

export function Notice(p: { grave?: boolean; children: ComponentChildren }) {
  return <div class={`notice${p.grave ? " grave" : ""}`} role={p.grave ? "alert" : undefined}>{p.children}</div>;
}

export function save(name: string, content: BlobPart, type: string): void {
  const url = URL.createObjectURL(new Blob([content], { type }));
  const link = document.createElement("a");
  link.href = url;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}

/** Sends a file by the phone's own means; where there are none it is saved. */
export async function share(name: string, content: BlobPart, type: string): Promise<void> {
  const file = new File([content], name, { type });
  if (navigator.canShare?.({ files: [file] })) {
    // Declined is no fault.
    await navigator.share({ files: [file], title: name }).catch(() => undefined);
  } else save(name, content, type);
}

export const canShare = () => Boolean(navigator.canShare?.({ files: [new File(["a"], "a.txt", { type: "text/plain" })] }));

/** A title as a file's name. */
export const fileName = (title: string) => title.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-|-$/g, "").slice(0, 40) || "piece";

export const when = (at: number) =>
  new Date(at).toLocaleString(undefined, { year: "numeric", month: "short", day: "numeric", hour: "2-digit", minute: "2-digit" });

export const sentence = (text: string) => text.charAt(0).toUpperCase() + text.slice(1) + (/[.!?]$/.test(text) ? "" : ".");

/** The library names options of the command line; here they are fields. What is measured and decided stays word for word. */
export const onPage = (text: string) =>
  text
    .replace(/give both lengths with --bars/g, "put both lengths in on the page Photo")
    .replace(/add --card-below \S+ if (it lies|they lie) on the bench, or --card-below 0mm if (it|they) level with the marked face/g, "say on the page Photo whether $1 on the bench or level with the marked face")
    .replace(/--known sheet-(width|height)(=\S+)?/g, "the $1 measured with a steel rule (Photo, More that helps)")
    .replace(/(with )?--datum-corner (\S+?)(?=[\s,;.]|$)/g, "“$2” for the lower left corner (Photo, More that helps)")
    .replace(/--datum-corner/g, "the lower left corner (Photo, More that helps)")
    .replace(/--bars/g, "the bars (Photo)")
    .replace(/--card-below( \S+)?/g, "how the cards lie (Photo)")
    .replace(/--card-thickness/g, "the thickness of the cards");
