// A plan as the form has it, and its text. The form changes the tables; the text is what is kept, checked and shared, and
// reads on the command line as it is.

export type Value = string | number | boolean | Value[];
export type Table = { [key: string]: Value };
export interface Tables {
  [key: string]: Value | Table | Table[];
}

/** Tables and lists of tables in the order in which they are written; other keys come first. */
const SINGLE = ["sheet", "rivet", "tolerance", "seen"];
const LISTS = ["row", "grid", "circle", "hole"];
/** Keys whose values are words even where they look like numbers. */
const WORDS = new Set(["title", "units", "name", "along", "head", "drill", "offset_from", "from", "to", "share", "datum"]);

/** A length or number as people type it: a decimal comma is taken for a point, blanks go. */
export function typed(text: string): string {
  return text.trim().replace(/^(-?\d*),(\d+)(.*)$/, "$1.$2$3");
}

function quoted(text: string): string {
  const escapes: Record<string, string> = { '"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r" };
  const safe = [...text].map((c) => escapes[c] ?? (c < " " || c === "\x7f" ? " " : c));
  return `"${safe.join("")}"`;
}

function written(key: string, value: Value): string {
  if (Array.isArray(value)) return `[${value.map((v) => written(key, v)).join(", ")}]`;
  if (typeof value !== "string") return String(value);
  if (WORDS.has(key)) return quoted(value);
  const text = typed(value);
  return /^-?\d+(\.\d+)?$/.test(text) && !/^-?0\d/.test(text) ? text : quoted(text);
}

/** The text, and of each line the place in the tables that it is from: "row.0.pitch". */
export function write(tables: Tables): { text: string; lines: string[] } {
  const out: string[] = [];
  const lines: string[] = [];
  const add = (line: string, from: string) => {
    out.push(line);
    lines.push(from);
  };
  const fields = (table: Table, path: string) => {
    for (const [key, value] of Object.entries(table)) {
      if (value === "" || (Array.isArray(value) && value.length === 0)) continue;
      add(`${key} = ${written(key, value)}`, `${path}${key}`);
    }
  };
  const top: Table = {};
  for (const [key, value] of Object.entries(tables)) {
    if (!SINGLE.includes(key) && !LISTS.includes(key)) top[key] = value as Value;
  }
  fields(top, "");
  for (const key of SINGLE) {
    const table = tables[key] as Table | undefined;
    if (!table || Object.values(table).every((v) => v === "")) continue;
    add("", key);
    add(`[${key}]`, key);
    fields(table, `${key}.`);
  }
  for (const key of LISTS) {
    ((tables[key] as Table[] | undefined) ?? []).forEach((table, i) => {
      add("", `${key}.${i}`);
      add(`[[${key}]]`, `${key}.${i}`);
      fields(table, `${key}.${i}.`);
    });
  }
  return { text: out.join("\n") + "\n", lines };
}

export interface Fault {
  line: number;
  column: number;
  key: string;
  text: string;
  hint: string | null;
}

/** The field that a fault is about: by its line, and by its key where the line is the head of a table. */
export function placeOf(fault: Fault, lines: string[]): string {
  const from = lines[fault.line - 1] ?? "";
  const key = fault.key.includes(": ") ? fault.key.split(": ").pop()! : /^[a-z_]+$/.test(fault.key) ? fault.key : "";
  const isHead = from === "" || SINGLE.includes(from) || /^[a-z]+\.\d+$/.test(from);
  // A table that is not there has no line: "[sheet]: width".
  const table = /^\[([a-z]+)\]/.exec(fault.key)?.[1];
  if (table) return key && !key.startsWith("[") ? `${table}.${key}` : `${table}.${table === "sheet" ? "width" : table === "tolerance" ? "position" : ""}`;
  if (!isHead) return from;
  return key ? (from ? `${from}.${key}` : key) : from;
}
