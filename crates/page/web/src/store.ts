// The record book: the browser's own database. A record is put whole or not at all, in one transaction.

export interface Said {
  bars?: string;
  card_below?: string;
  card_thickness?: string;
  known: string[];
  datum_corner?: string;
  stage?: string;
}

/** A piece of work: its plan, and how far it is. */
export interface Piece {
  id: string;
  title: string;
  changed: number;
  plan: string;
  /** Stations that were ticked, "table/hole". */
  ticked: string[];
  said: Said;
}

export interface Shot {
  name: string;
  file: Blob;
}

export interface Place {
  hole?: string;
  stray?: number;
  name?: string | null;
  photo: number;
  /** Where its mark is, or should be, in that photo, px. */
  pixel: [number, number];
  planned?: [number, number] | null;
  found?: [number, number] | null;
  px_per_mm: number | null;
  near?: string;
  said: string;
}

/** A finished check with all that it rests on. */
export interface Check {
  id: string;
  piece: string;
  title: string;
  at: number;
  verdict: "ready" | "not-ready" | "cannot-tell";
  counts: string;
  plan: string;
  said: Said;
  answers: string | null;
  shots: Shot[];
  /** The command line's JSON. */
  json: string;
  /** Of each photo its signs, as SVG; in the order of the JSON's photos, which is that of `shots`. */
  signs: string[];
  places: { holes: Place[]; strays: Place[] };
  template: string;
  summary: string;
  /** The command line's page; null until it is made. */
  report: string | null;
}

/** What a rule showed on the bars of a printer's cards. */
export interface Printer {
  name: string;
  across: string;
  down: string;
  at: number;
}

type Stores = { pieces: Piece; checks: Check; printers: Printer };

let opened: Promise<IDBDatabase> | undefined;

function open(): Promise<IDBDatabase> {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open("punchready", 1);
    request.onupgradeneeded = () => {
      const db = request.result;
      db.createObjectStore("pieces", { keyPath: "id" });
      db.createObjectStore("checks", { keyPath: "id" });
      db.createObjectStore("printers", { keyPath: "name" });
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  return opened;
}

async function within<T>(store: keyof Stores, mode: IDBTransactionMode, act: (s: IDBObjectStore) => IDBRequest<T>): Promise<T> {
  const db = await open();
  return new Promise((resolve, reject) => {
    // Strict: the record is on the disk before it is called kept.
    const change = db.transaction(store, mode, { durability: "strict" });
    const request = act(change.objectStore(store));
    change.oncomplete = () => resolve(request.result);
    change.onabort = () => reject(change.error ?? request.error ?? new Error("not kept"));
    change.onerror = () => reject(change.error ?? request.error);
  });
}

export const put = <S extends keyof Stores>(store: S, value: Stores[S]) => within(store, "readwrite", (s) => s.put(value));
export const get = <S extends keyof Stores>(store: S, key: string): Promise<Stores[S] | undefined> =>
  within(store, "readonly", (s) => s.get(key));
export const all = <S extends keyof Stores>(store: S): Promise<Stores[S][]> => within(store, "readonly", (s) => s.getAll());
export const remove = (store: keyof Stores, key: string) => within(store, "readwrite", (s) => s.delete(key));

/** Room that is left for records, bytes; null where the browser does not say. */
export async function room(): Promise<number | null> {
  const told = await navigator.storage?.estimate?.().catch(() => undefined);
  return told?.quota === undefined ? null : told.quota - (told.usage ?? 0);
}

/** A name for a record. crypto.randomUUID is not there on a page served without TLS. */
export function newId(): string {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
}
