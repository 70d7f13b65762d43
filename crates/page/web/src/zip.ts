// ZIP files, as APPNOTE.TXT 6.3 has them (from memory): written without packing, for photos are packed already; read with
// or without.

export interface Entry {
  name: string;
  bytes: Uint8Array<ArrayBuffer>;
}

/** Larger archives are no record books, bytes. */
const LARGEST = 2 ** 31 - 1;

const TABLE = Uint32Array.from({ length: 256 }, (_, n) => {
  let c = n;
  for (let k = 0; k < 8; k++) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  return c;
});

function crc(bytes: Uint8Array): number {
  let c = 0xffffffff;
  for (const b of bytes) c = TABLE[(c ^ b) & 255]! ^ (c >>> 8);
  return (c ^ 0xffffffff) >>> 0;
}

function numbers(...fields: [2 | 4, number][]): Uint8Array<ArrayBuffer> {
  const out = new Uint8Array(fields.reduce((n, [size]) => n + size, 0));
  const view = new DataView(out.buffer);
  let at = 0;
  for (const [size, value] of fields) {
    if (size === 2) view.setUint16(at, value, true);
    else view.setUint32(at, value >>> 0, true);
    at += size;
  }
  return out;
}

/** Names are UTF-8 (flag bit 11). */
const FLAGS = 0x0800;
/** 1 January 1980, the first day that there is: records have their own dates. */
const DAY = 0x21;

export function zip(entries: Entry[]): Blob {
  const parts: BlobPart[] = [];
  const central: BlobPart[] = [];
  let at = 0;
  let length = 0;
  for (const { name, bytes } of entries) {
    const title = new TextEncoder().encode(name);
    const sum = crc(bytes);
    const common: [2 | 4, number][] = [
      [2, 20], [2, FLAGS], [2, 0], [2, 0], [2, DAY], [4, sum], [4, bytes.length], [4, bytes.length], [2, title.length], [2, 0],
    ];
    const head = numbers([4, 0x04034b50], ...common);
    const listed = numbers([4, 0x02014b50], [2, 20], ...common, [2, 0], [2, 0], [2, 0], [4, 0], [4, at]);
    parts.push(head, title, bytes);
    central.push(listed, title);
    at += head.length + title.length + bytes.length;
    length += listed.length + title.length;
  }
  if (at > LARGEST) throw new Error("more records than one ZIP file holds; choose some of them");
  const end = numbers([4, 0x06054b50], [2, 0], [2, 0], [2, entries.length], [2, entries.length], [4, length], [4, at], [2, 0]);
  return new Blob([...parts, ...central, end], { type: "application/zip" });
}

async function unpack(bytes: Uint8Array<ArrayBuffer>): Promise<Uint8Array<ArrayBuffer>> {
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

export async function unzip(file: Blob): Promise<Entry[]> {
  if (file.size > LARGEST) throw new Error("this file is too large for a record book");
  const bytes = new Uint8Array(await file.arrayBuffer());
  const view = new DataView(bytes.buffer);
  const broken = () => new Error("this is no ZIP file that can be read: choose one that was exported here");
  let end = bytes.length - 22;
  while (end >= 0 && view.getUint32(end, true) !== 0x06054b50) end--;
  if (end < 0) throw broken();
  const count = view.getUint16(end + 10, true);
  let at = view.getUint32(end + 16, true);
  const entries: Entry[] = [];
  try {
    for (let i = 0; i < count; i++) {
      if (view.getUint32(at, true) !== 0x02014b50) throw broken();
      const [method, sum, size] = [view.getUint16(at + 10, true), view.getUint32(at + 16, true), view.getUint32(at + 20, true)];
      const [title, extra, note] = [view.getUint16(at + 28, true), view.getUint16(at + 30, true), view.getUint16(at + 32, true)];
      const local = view.getUint32(at + 42, true);
      const name = new TextDecoder().decode(bytes.subarray(at + 46, at + 46 + title));
      const from = local + 30 + view.getUint16(local + 26, true) + view.getUint16(local + 28, true);
      const held = bytes.slice(from, from + size);
      const whole = method === 0 ? held : await unpack(held);
      if (crc(whole) !== sum) throw new Error(`${name} in this ZIP file is damaged; export the records anew`);
      if (!name.endsWith("/")) entries.push({ name, bytes: whole });
      at += 46 + title + extra + note;
    }
  } catch (e) {
    throw e instanceof RangeError ? broken() : e;
  }
  return entries;
}
