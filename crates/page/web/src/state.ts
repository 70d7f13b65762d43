// What the page works on, and how it changes. Views read it through `useApp`, and change it through the functions here.

import { useEffect, useState } from "preact/hooks";
import { Cancelled, Refusal, ask } from "./engine";
import * as store from "./store";
import type { Check, Piece, Said, Shot } from "./store";
import { type Fault, type Tables, write } from "./toml";

export interface PlannedHole {
  name: string;
  row: string | null;
  at: [number, number];
}

export interface Station {
  hole: string;
  shared: boolean;
  exact: string;
  mm: number;
  near: { text: string; off: string };
  coarse: { text: string; off: string };
}

export interface StationTable {
  title: string;
  place: string;
  datum: string;
  lines: Station[];
  rounding: { name: string; share: string; advice: string | null }[];
}

/** What the library makes of a plan. */
export interface Plan {
  title: string;
  units: "in" | "mm";
  width: number;
  height: number;
  width_said: string;
  height_said: string;
  thickness: number | null;
  rivet: number | null;
  tolerance: number;
  tolerance_said: string;
  datum: string[] | null;
  holes: PlannedHole[];
  drilled: PlannedHole[];
  findings: { gravity: "under" | "beyond" | "advice" | "recalled"; about: string; text: string }[];
  authority: string;
  tables: StationTable[];
}

export interface Look {
  size: [number, number];
  camera: (string | null)[];
  knows_lens: boolean;
  warnings: string[];
  cards: { number: number; corners: [number, number][] }[];
  sheet: [number, number][] | null;
  px_per_mm: number | null;
  kept: number | null;
  burnt: number;
  stops: { code: string; text: string } | null;
  better: string[];
}

/** A photo that was chosen, and what the first look shows. */
export interface Taken extends Shot {
  url: string;
  look?: Look;
  refused?: Refusal;
  /** What was done to the file for it to be read. */
  turned?: string;
}

export type View = "plan" | "mark" | "cards" | "photo" | "answer" | "book";

export interface App {
  view: View;
  piece: Piece | null;
  /** The plan's tables for the form; null where the text is no TOML. */
  tables: Tables | null;
  /** Of each line of the text its place in the tables; empty where the text was not written by the form. */
  lines: string[];
  faults: Fault[];
  /** What the plan means, or last meant while it is being typed. */
  plan: Plan | null;
  shots: Taken[];
  check: Check | null;
  /** The check before of the same piece. */
  before: Check | null;
  /** Stages done of a running check. */
  running: string[] | null;
  told: { text: string; hint?: string | null; grave: boolean } | null;
}

export let app: App = {
  view: "plan", piece: null, tables: null, lines: [], faults: [], plan: null,
  shots: [], check: null, before: null, running: null, told: null,
};
const watchers = new Set<() => void>();

export function change(patch: Partial<App>): void {
  app = { ...app, ...patch };
  for (const seen of watchers) seen();
}

export function useApp(): App {
  const [, again] = useState(0);
  useEffect(() => {
    const seen = () => again((n) => n + 1);
    watchers.add(seen);
    return () => void watchers.delete(seen);
  }, []);
  return app;
}

export function tell(why: unknown): void {
  if (why instanceof Cancelled) return;
  const hint = why instanceof Refusal ? why.hint : null;
  change({ told: { text: why instanceof Error ? why.message : String(why), hint, grave: true } });
}

export const go = (view: View) => {
  location.hash = view;
};

let saving: ReturnType<typeof setTimeout> | undefined;

/** Keeps the piece soon; at once when the page is left. */
function keep(): void {
  clearTimeout(saving);
  saving = setTimeout(keepNow, 300);
}
export function keepNow(): void {
  clearTimeout(saving);
  if (app.piece) store.put("pieces", app.piece).catch(tell);
}

function touch(patch: Partial<Piece>): void {
  if (!app.piece) return;
  change({ piece: { ...app.piece, ...patch, changed: Date.now() } });
  keep();
}

let asked = 0;

/** Takes a plan's text, and asks what it means. */
export async function setText(text: string, lines: string[] = [], tables?: Tables): Promise<void> {
  touch({ plan: text });
  change({ lines, ...(tables ? { tables } : {}) });
  const mine = ++asked;
  try {
    const { json } = await ask<{ faults: Fault[]; tables: Tables | null; plan: Plan | null }>({ ask: "plan", text });
    // A later text is on its way.
    if (mine !== asked) return;
    change({ faults: json.faults, plan: json.plan ?? app.plan, tables: tables ?? json.tables });
    if (json.plan && app.piece && json.plan.title !== app.piece.title) touch({ title: json.plan.title });
  } catch (e) {
    tell(e);
  }
}

/** Takes tables as the form has them. */
export function setTables(tables: Tables): Promise<void> {
  const { text, lines } = write(tables);
  return setText(text, lines, tables);
}

export async function begin(text: string): Promise<void> {
  keepNow();
  forget();
  const piece: Piece = { id: store.newId(), title: "New piece", changed: Date.now(), plan: text, ticked: [], said: { known: [] } };
  change({ piece, plan: null, tables: null, faults: [], check: null, before: null });
  await setText(text);
}

/** Opens a piece of the record book, with its last check or the one named. */
export async function open(piece: Piece, check?: Check): Promise<void> {
  keepNow();
  forget();
  const checks = (await store.all("checks")).filter((c) => c.piece === piece.id).sort((a, b) => a.at - b.at);
  const shown = check ?? checks.at(-1) ?? null;
  const before = shown ? (checks.filter((c) => c.at < shown.at).at(-1) ?? null) : null;
  change({ piece, plan: null, tables: null, faults: [], check: shown, before });
  await setText(piece.plan);
}

function forget(): void {
  for (const shot of app.shots) URL.revokeObjectURL(shot.url);
  change({ shots: [], told: null });
}

export const setSaid = (said: Partial<Said>) => app.piece && touch({ said: { ...app.piece.said, ...said } });

export function tick(station: string): void {
  if (!app.piece) return;
  const { ticked } = app.piece;
  touch({ ticked: ticked.includes(station) ? ticked.filter((t) => t !== station) : [...ticked, station] });
}

export const planIsGood = () => app.plan !== null && app.faults.length === 0;

/** The plan's file name, as it is saved: the title stands in it, so that it changes nothing of the check. */
export const PLAN_NAME = "plan.toml";
