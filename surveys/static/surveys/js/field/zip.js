// Writing and reading plain ZIP files, nothing compressed: pictures are already, and any
// computer opens one. Pure. After PKWARE's APPNOTE, sections 4.3 and 4.4.

const LOCAL = 0x04034b50;
const CENTRAL = 0x02014b50;
const END = 0x06054b50;
const UTF8_NAMES = 0x0800;

const TABLE = new Uint32Array(256).map((_, n) => {
  let c = n;
  for (let bit = 0; bit < 8; bit += 1) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  return c >>> 0;
});

export function crc32(bytes, start = 0) {
  let c = ~start >>> 0;
  for (const byte of bytes) c = TABLE[(c ^ byte) & 0xff] ^ (c >>> 8);
  return ~c >>> 0;
}

// files: [{ name, blob }]; returns a Blob. Pictures are read one at a time.
export async function writeZip(files) {
  const parts = [];
  const central = [];
  let offset = 0;
  for (const { name, blob } of files) {
    const label = new TextEncoder().encode(name);
    const crc = crc32(new Uint8Array(await blob.arrayBuffer()));
    const facts = { crc, size: blob.size, label };
    const head = header(LOCAL, 30, facts);
    parts.push(head, label, blob);
    const entry = header(CENTRAL, 46, facts);
    new DataView(entry.buffer).setUint32(42, offset, true);
    central.push(entry, label);
    offset += head.length + label.length + blob.size;
  }
  const size = central.reduce((sum, part) => sum + part.length, 0);
  const end = new DataView(new ArrayBuffer(22));
  end.setUint32(0, END, true);
  end.setUint16(8, files.length, true);
  end.setUint16(10, files.length, true);
  end.setUint32(12, size, true);
  end.setUint32(16, offset, true);
  return new Blob([...parts, ...central, end.buffer], { type: "application/zip" });
}

function header(sign, length, { crc, size, label }) {
  const view = new DataView(new ArrayBuffer(length));
  const at = sign === LOCAL ? 4 : 6;
  view.setUint32(0, sign, true);
  if (sign === CENTRAL) view.setUint16(4, 20, true);
  view.setUint16(at, 20, true);
  view.setUint16(at + 2, UTF8_NAMES, true);
  // No compression, and the first day a ZIP can name: 1 January 1980.
  view.setUint16(at + 8, 0x21, true);
  view.setUint32(at + 10, crc, true);
  view.setUint32(at + 14, size, true);
  view.setUint32(at + 18, size, true);
  view.setUint16(at + 22, label.length, true);
  return new Uint8Array(view.buffer);
}

export class NotOurs extends Error {}

// Returns Map name → Blob of a file that writeZip made. Raises NotOurs for another, or
// for one that was cut short or altered.
export async function readZip(blob) {
  const tail = new DataView(await blob.slice(Math.max(0, blob.size - 22)).arrayBuffer());
  if (tail.byteLength < 22 || tail.getUint32(0, true) !== END) {
    throw new NotOurs("This is not a copy of what waits on a phone, or not a whole one.");
  }
  const count = tail.getUint16(10, true);
  const start = tail.getUint32(16, true);
  const view = new DataView(await blob.slice(start, start + tail.getUint32(12, true)).arrayBuffer());
  const found = new Map();
  let at = 0;
  for (let index = 0; index < count; index += 1) {
    if (at + 46 > view.byteLength || view.getUint32(at, true) !== CENTRAL || view.getUint16(at + 10, true) !== 0) {
      throw new NotOurs("This file was packed by another program: choose the one that this page saved.");
    }
    const [crc, size] = [view.getUint32(at + 16, true), view.getUint32(at + 24, true)];
    const [labelSize, extra, note] = [28, 30, 32].map((place) => view.getUint16(at + place, true));
    const name = new TextDecoder().decode(new Uint8Array(view.buffer, at + 46, labelSize));
    const local = view.getUint32(at + 42, true);
    const head = new DataView(await blob.slice(local, local + 30).arrayBuffer());
    if (head.byteLength < 30) throw new NotOurs("This file was cut short.");
    const first = local + 30 + head.getUint16(26, true) + head.getUint16(28, true);
    const body = blob.slice(first, first + size);
    if (crc32(new Uint8Array(await body.arrayBuffer())) !== crc) throw new NotOurs(`${name} in this file is damaged.`);
    found.set(name, body);
    at += 46 + labelSize + extra + note;
  }
  return found;
}
