// A QR code of bytes, error correction M: ISO/IEC 18004, Information technology, QR code bar code symbology
// specification, 2015 (tables 9 and E.1 from memory; every version is read back by another library in the tests).
export const MOST_VERSION = 30;
// By version: correction bytes in a block, and blocks.
const CORRECTION = [10, 16, 26, 18, 24, 16, 18, 22, 22, 26, 30, 22, 22, 24, 24, 28, 28, 26, 26, 26, 26, 28, 28, 28, 28, 28, 28, 28, 28, 28];
const BLOCKS = [1, 1, 1, 2, 2, 4, 4, 4, 5, 5, 5, 8, 9, 9, 10, 10, 11, 13, 14, 16, 17, 17, 18, 20, 21, 23, 25, 26, 28, 29];
const MASKS = [
  (x, y) => (x + y) % 2, (x, y) => y % 2, (x) => x % 3, (x, y) => (x + y) % 3, (x, y) => (Math.floor(x / 3) + Math.floor(y / 2)) % 2,
  (x, y) => ((x * y) % 2) + ((x * y) % 3), (x, y) => (((x * y) % 2) + ((x * y) % 3)) % 2, (x, y) => (((x + y) % 2) + ((x * y) % 3)) % 2,
];

const sizeOf = (version) => 17 + 4 * version;
const aligned = (version) => (version === 1 ? 0 : Math.floor(version / 7) + 2);

function allBytes(version) {
  const count = aligned(version);
  let modules = (16 * version + 128) * version + 64;
  if (count) modules -= (25 * count - 10) * count - 55;
  if (version > 6) modules -= 36;
  return Math.floor(modules / 8);
}

const dataBytes = (version) => allBytes(version) - CORRECTION[version - 1] * BLOCKS[version - 1];
const headBits = (version) => (version < 10 ? 12 : 20);
// How many bytes of content a version holds.
export const capacity = (version) => Math.floor((8 * dataBytes(version) - headBits(version)) / 8);

// Product in the field of 256 elements of the standard's polynomial.
function product(a, b) {
  let sum = 0;
  for (let bit = 7; bit >= 0; bit -= 1) sum = (sum << 1) ^ ((sum >>> 7) * 0x11d) ^ (((b >>> bit) & 1) * a);
  return sum;
}

function generator(degree) {
  const found = [...new Array(degree - 1).fill(0), 1];
  let root = 1;
  for (let i = 0; i < degree; i += 1) {
    for (let j = 0; j < degree; j += 1) found[j] = product(found[j], root) ^ (j + 1 < degree ? found[j + 1] : 0);
    root = product(root, 2);
  }
  return found;
}

function corrections(data, divisor) {
  const rest = new Array(divisor.length).fill(0);
  for (const byte of data) {
    const factor = byte ^ rest.shift();
    rest.push(0);
    divisor.forEach((coefficient, i) => { rest[i] ^= product(coefficient, factor); });
  }
  return rest;
}

// Mode, length and content, filled up to what the version holds.
function framed(bytes, version) {
  const bits = [];
  const put = (value, length) => { for (let i = length - 1; i >= 0; i -= 1) bits.push((value >>> i) & 1); };
  put(4, 4);
  put(bytes.length, headBits(version) - 4);
  for (const byte of bytes) put(byte, 8);
  const room = 8 * dataBytes(version);
  put(0, Math.min(4, room - bits.length));
  put(0, (8 - (bits.length % 8)) % 8);
  for (let pad = 0xec; bits.length < room; pad ^= 0xec ^ 0x11) put(pad, 8);
  const whole = [];
  for (let i = 0; i < bits.length; i += 8) whole.push(parseInt(bits.slice(i, i + 8).join(""), 2));
  return whole;
}

// Blocks with their correction bytes, taken in turns; the last blocks may be a byte longer.
function interleaved(data, version) {
  const count = BLOCKS[version - 1], short = Math.floor(data.length / count), long = data.length % count;
  const divisor = generator(CORRECTION[version - 1]), blocks = [];
  let from = 0;
  for (let i = 0; i < count; i += 1) {
    const to = from + short + (i < count - long ? 0 : 1);
    blocks.push(data.slice(from, to));
    from = to;
  }
  const checks = blocks.map((block) => corrections(block, divisor)), out = [];
  for (let i = 0; i <= short; i += 1) for (const block of blocks) if (i < block.length) out.push(block[i]);
  for (let i = 0; i < divisor.length; i += 1) for (const check of checks) out.push(check[i]);
  return out;
}

class Matrix {
  constructor(version) {
    this.size = sizeOf(version);
    this.dark = Array.from({ length: this.size }, () => new Array(this.size).fill(false));
    this.fixed = Array.from({ length: this.size }, () => new Array(this.size).fill(false));
  }

  set(x, y, dark) {
    if (x < 0 || y < 0 || x >= this.size || y >= this.size) return;
    this.dark[y][x] = Boolean(dark);
    this.fixed[y][x] = true;
  }

  square(x, y, reach, light) {
    for (let dy = -reach; dy <= reach; dy += 1) {
      for (let dx = -reach; dx <= reach; dx += 1) this.set(x + dx, y + dy, !light.includes(Math.max(Math.abs(dx), Math.abs(dy))));
    }
  }
}

function alignments(version) {
  const count = aligned(version), size = sizeOf(version);
  if (!count) return [];
  const step = Math.ceil((version * 4 + 4) / (count * 2 - 2)) * 2;
  return [6, ...Array.from({ length: count - 1 }, (_, i) => size - 7 - i * step).reverse()];
}

function patterns(version) {
  const symbol = new Matrix(version), last = symbol.size - 4, places = alignments(version);
  for (let i = 0; i < symbol.size; i += 1) {
    symbol.set(6, i, i % 2 === 0);
    symbol.set(i, 6, i % 2 === 0);
  }
  for (const [x, y] of [[3, 3], [last, 3], [3, last]]) symbol.square(x, y, 4, [2, 4]);
  const corner = (i, j) => (i === 0 && (j === 0 || j === places.length - 1)) || (i === places.length - 1 && j === 0);
  places.forEach((x, i) => places.forEach((y, j) => { if (!corner(i, j)) symbol.square(x, y, 2, [1]); }));
  versionBits(symbol, version);
  formatBits(symbol, 0);
  return symbol;
}

// A value with the remainder that guards it behind.
function guarded(value, length, divisor) {
  let rest = value;
  for (let i = 0; i < length; i += 1) rest = (rest << 1) ^ ((rest >>> (length - 1)) * divisor);
  return (value << length) | rest;
}

function versionBits(symbol, version) {
  if (version < 7) return;
  const bits = guarded(version, 12, 0x1f25);
  for (let i = 0; i < 18; i += 1) {
    const a = symbol.size - 11 + (i % 3), b = Math.floor(i / 3), dark = (bits >>> i) & 1;
    symbol.set(a, b, dark);
    symbol.set(b, a, dark);
  }
}

// Correction M is written as 00, so that the mask alone is left; twice, around the corners.
function formatBits(symbol, mask) {
  const bits = guarded(mask, 10, 0x537) ^ 0x5412, { size } = symbol, bit = (i) => (bits >>> i) & 1;
  for (let i = 0; i < 6; i += 1) symbol.set(8, i, bit(i));
  symbol.set(8, 7, bit(6));
  symbol.set(8, 8, bit(7));
  symbol.set(7, 8, bit(8));
  for (let i = 9; i < 15; i += 1) symbol.set(14 - i, 8, bit(i));
  for (let i = 0; i < 8; i += 1) symbol.set(size - 1 - i, 8, bit(i));
  for (let i = 8; i < 15; i += 1) symbol.set(8, size - 15 + i, bit(i));
  symbol.set(8, size - 8, true);
}

// Columns in pairs from the right, up and down in turns, around the column of the timing pattern.
function free({ size, fixed }) {
  const found = [];
  const rows = Array.from({ length: size }, (_, y) => y), back = [...rows].reverse();
  for (let right = size - 1, up = true; right > 0; right -= right === 8 ? 3 : 2, up = !up) {
    for (const y of up ? back : rows) found.push([right, y], [right - 1, y]);
  }
  return found.filter(([x, y]) => !fixed[y][x]);
}

function filledIn(symbol, bytes) {
  free(symbol).forEach(([x, y], at) => {
    symbol.dark[y][x] = at < bytes.length * 8 && Boolean((bytes[at >>> 3] >>> (7 - (at & 7))) & 1);
  });
}

function masked(symbol, mask) {
  const dark = symbol.dark.map((row, y) => row.map((on, x) => on !== (!symbol.fixed[y][x] && MASKS[mask](x, y) === 0)));
  const copy = Object.assign(new Matrix(1), { size: symbol.size, dark, fixed: symbol.fixed });
  formatBits(copy, mask);
  return copy;
}

// How hard a symbol is to read: long runs, what looks like a finder, squares, too much of one colour.
function runs(line) {
  const text = line.map((on) => (on ? "1" : "0")).join("");
  const long = (text.match(/1{5,}|0{5,}/g) || []).reduce((sum, run) => sum + run.length - 2, 0);
  return long + 40 * (text.match(/(?=10111010000)|(?=00001011101)/g) || []).length;
}

function penalty({ size, dark }) {
  const columns = dark.map((_, x) => dark.map((row) => row[x]));
  let sum = [...dark, ...columns].reduce((total, line) => total + runs(line), 0), count = 0;
  for (let y = 0; y < size; y += 1) {
    for (let x = 0; x < size; x += 1) {
      count += dark[y][x] ? 1 : 0;
      if (x && y && dark[y][x] === dark[y][x - 1] && dark[y][x] === dark[y - 1][x] && dark[y][x] === dark[y - 1][x - 1]) sum += 3;
    }
  }
  return sum + 10 * Math.floor(Math.abs((count * 100) / (size * size) - 50) / 5);
}

// The rows of the smallest code that holds the bytes, true where dark; null where none does.
export function qrCode(bytes) {
  let version = 1;
  while (version <= MOST_VERSION && capacity(version) < bytes.length) version += 1;
  if (version > MOST_VERSION) return null;
  const symbol = patterns(version);
  filledIn(symbol, interleaved(framed([...bytes], version), version));
  const tried = MASKS.map((_, mask) => masked(symbol, mask));
  return tried.reduce((best, one) => (penalty(one) < penalty(best) ? one : best)).dark;
}
