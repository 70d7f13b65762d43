// Runs the measuring library in a thread of its own, so that the page never freezes. One request at a time: JSON and files
// go in, JSON and files come out (crates/page/src/abi.rs).

interface Library {
  memory: WebAssembly.Memory;
  start(): void;
  room(length: number): number;
  answer(): number;
  part(which: number): number;
  length(which: number): number;
  done(): void;
}

let library: Library;

function text(at: number, length: number): string {
  return new TextDecoder().decode(new Uint8Array(library.memory.buffer, at, length));
}

const host = {
  stage: (at: number, length: number) => postMessage({ stage: text(at, length) }),
  fault: (at: number, length: number) => postMessage({ fault: text(at, length) }),
};

function ask(parts: Uint8Array[]): Uint8Array[] {
  for (const bytes of parts) {
    const at = library.room(bytes.length) >>> 0;
    new Uint8Array(library.memory.buffer, at, bytes.length).set(bytes);
  }
  const answered: Uint8Array[] = [];
  const count = library.answer();
  for (let i = 0; i < count; i++) {
    const at = library.part(i) >>> 0;
    answered.push(new Uint8Array(library.memory.buffer, at, library.length(i)).slice());
  }
  library.done();
  return answered;
}

onmessage = async (event: MessageEvent) => {
  const { module, request, files } = event.data;
  if (module) {
    const instance = await WebAssembly.instantiate(module as WebAssembly.Module, { host });
    library = instance.exports as unknown as Library;
    library.start();
    postMessage({ ready: true });
    return;
  }
  const parts = [new TextEncoder().encode(JSON.stringify(request))];
  for (const file of files as Blob[]) parts.push(new Uint8Array(await file.arrayBuffer()));
  const [json, ...others] = ask(parts);
  const memory = library.memory.buffer.byteLength;
  postMessage(
    { answer: JSON.parse(new TextDecoder().decode(json)), files: others, memory },
    { transfer: others.map((o) => o.buffer) },
  );
};
