// What is handed over as QR codes: each holds some rows of one table, whole by itself, so that photographs may come in
// any order and twice. A mark, which table it is, then the table as CSV, compressed (DEFLATE, RFC 1951).
import { readingsCsv, valveTimesCsv } from "./export_csv.js";
import { capacity, MOST_VERSION } from "./qr.js";

export const MARK = "stressmap1";
const HEAD = MARK.length + 1;
const ROOM = capacity(MOST_VERSION) - HEAD;

const bytesOf = (text) => new TextEncoder().encode(text);

async function compressed(text) {
  const stream = new Blob([bytesOf(text)]).stream().pipeThrough(new CompressionStream("deflate-raw"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

// Tables of as few rows as it takes for each to fit one code. A note alone is far shorter than a code.
async function parts(rows, csv) {
  if (!rows.length) return [];
  const packed = await compressed(csv(rows));
  if (packed.length <= ROOM || rows.length === 1) return [packed];
  const half = Math.ceil(rows.length / 2);
  return [...await parts(rows.slice(0, half), csv), ...await parts(rows.slice(half), csv)];
}

const marked = (letter, packed) => Uint8Array.from([...bytesOf(MARK + letter), ...packed]);

// The content of each code; "r" is of readings, "v" of valve times.
export async function contents({ readings, sets }, zone, temperature) {
  const read = await parts(readings, (rows) => readingsCsv(rows, zone, temperature));
  const turned = await parts(sets, (rows) => valveTimesCsv(rows, zone));
  return [...read.map((packed) => marked("r", packed)), ...turned.map((packed) => marked("v", packed))];
}
