// The measuring library, asked from the page. Requests wait for each other; a check can be cancelled, which ends its thread
// and starts another.

import workerSource from "worker-source";

export interface Answered<T> {
  json: T;
  files: Uint8Array<ArrayBuffer>[];
  /** Memory of the library, bytes. */
  memory: number;
}

/** What the library refused, in its own words. */
export class Refusal extends Error {
  constructor(error: string, readonly hint: string | null) {
    super(error);
  }
}

export class Cancelled extends Error {}

let compiled: Promise<WebAssembly.Module> | undefined;
let worker: Promise<Worker> | undefined;
let turn: Promise<unknown> = Promise.resolve();
let stop: ((why: Error) => void) | undefined;

/** The library stands in the page, packed. */
async function compile(): Promise<WebAssembly.Module> {
  const holder = document.getElementById("library");
  const packed = atob((holder?.textContent ?? "").trim());
  holder?.remove();
  const bytes = new Uint8Array(packed.length);
  for (let i = 0; i < packed.length; i++) bytes[i] = packed.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return WebAssembly.compile(await new Response(stream).arrayBuffer());
}

async function begin(): Promise<Worker> {
  compiled ??= compile();
  const module = await compiled;
  const url = URL.createObjectURL(new Blob([workerSource], { type: "text/javascript" }));
  const begun = new Worker(url);
  await new Promise((ready, failed) => {
    begun.onmessage = ready;
    begun.onerror = (e) => failed(new Error(e.message));
    begun.postMessage({ module });
  });
  URL.revokeObjectURL(url);
  return begun;
}

/** Asks the library; `stage` hears the name of each stage of a check when it is done. */
export function ask<T>(request: object, files: Blob[] = [], stage?: (name: string) => void): Promise<Answered<T>> {
  const run = async () => {
    worker ??= begin();
    const on = await worker;
    return new Promise<Answered<T>>((resolve, reject) => {
      const fail = (why: Error) => {
        on.terminate();
        worker = undefined;
        reject(why);
      };
      stop = fail;
      on.onerror = (e) => fail(new Refusal(`the program stopped: ${e.message}`, "load the page again; please report this"));
      on.onmessage = (event) => {
        const { stage: name, fault, answer, files: parts, memory } = event.data;
        if (name) stage?.(name);
        else if (fault) fail(new Refusal(`the program is at fault: ${fault}`, "please report this, with the photo if you can"));
        else if (answer) {
          stop = undefined;
          if (answer.error) reject(new Refusal(answer.error, answer.hint));
          else resolve({ json: answer, files: parts, memory });
        }
      };
      on.postMessage({ request, files });
    });
  };
  const mine = turn.then(run);
  turn = mine.catch(() => undefined);
  return mine;
}

/** Ends what the library is doing. */
export function cancel(): void {
  stop?.(new Cancelled("cancelled"));
  stop = undefined;
}
