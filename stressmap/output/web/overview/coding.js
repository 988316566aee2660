// Reads the short text that blocks and valve zones come as, and puts them together; nothing here touches the page.

const LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
const VALUES = new Uint8Array(128);
for (let i = 0; i < 64; i += 1) VALUES[LETTERS.charCodeAt(i)] = i;

export const PAST = 5;
export const DEGREE = 1e5;
const NO_FIGURE = -30000;

// Whole numbers from Base64 VLQ: the lowest bit is the sign, five bits a letter, the sixth says that more follow.
export function numbersOf(text) {
  const out = [];
  let value = 0, shift = 0;
  for (let i = 0; i < text.length; i += 1) {
    const letter = VALUES[text.charCodeAt(i)];
    value += (letter & 31) * 2 ** shift;
    shift += 5;
    if (letter < 32) {
      out.push(value % 2 ? -(value - 1) / 2 : value / 2);
      value = 0;
      shift = 0;
    }
  }
  return out;
}

// Numbers of as many letters each as the first sign says.
export function fixedOf(text) {
  const width = Number(text[0]), out = [];
  for (let i = 1; i < text.length; i += width) {
    let value = 0;
    for (let k = i; k < i + width; k += 1) value = value * 64 + VALUES[text.charCodeAt(k)];
    out.push(value);
  }
  return out;
}

const successor = (name) => name.replace(/[0-9]{1,9}$/, (digits) => String(Number(digits) + 1).padStart(digits.length, "0"));

// Names, one a line, less what they have in common with the one before; "*3" is three more, each counting on.
export function namesOf(text) {
  const out = [];
  let before = "";
  for (const line of text ? text.split("\n") : []) {
    const more = line[0] === "*" ? Number(line.slice(1)) : 1;
    for (let n = 0; n < more; n += 1) {
      before = line[0] === "*" ? successor(before) : before.slice(0, VALUES[line.charCodeAt(0)]) + line.slice(1);
      out.push(before);
    }
  }
  return out;
}

// Rings of latitudes and longitudes, so many shapes; each ring is one flat list of whole steps of a degree.
export function ringsOf(text) {
  const numbers = numbersOf(text), shapes = [];
  let at = 0, latitude = 0, longitude = 0;
  while (at < numbers.length) {
    const rings = [];
    for (let left = numbers[at++]; left > 0; left -= 1) {
      const ring = new Int32Array(2 * numbers[at++]);
      let y = latitude, x = longitude;
      for (let i = 0; i < ring.length; i += 2) {
        y += numbers[at++];
        x += numbers[at++];
        ring[i] = y;
        ring[i + 1] = x;
      }
      latitude = ring[0];
      longitude = ring[1];
      rings.push(ring);
    }
    shapes.push(rings);
  }
  return shapes;
}

// South, west, north and east of rings, in whole steps of a degree; null where there is none.
export function boxOf(rings) {
  if (!rings.length) return null;
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const ring of rings) {
    for (let i = 0; i < ring.length; i += 2) {
      box[0] = Math.min(box[0], ring[i]);
      box[1] = Math.min(box[1], ring[i + 1]);
      box[2] = Math.max(box[2], ring[i]);
      box[3] = Math.max(box[3], ring[i + 1]);
    }
  }
  return box;
}

export function joinedBox(boxes) {
  const there = boxes.filter(Boolean);
  if (!there.length) return null;
  const of = (side, pick) => there.reduce((most, box) => pick(most, box[side]), there[0][side]);
  return [of(0, Math.min), of(1, Math.min), of(2, Math.max), of(3, Math.max)];
}

// Whether a point lies in rings that fill by the even-odd rule.
export function holds(rings, latitude, longitude) {
  let within = false;
  for (const ring of rings) {
    for (let i = 0, last = ring.length - 2; i < ring.length; last = i, i += 2) {
      if (ring[i] > latitude === ring[last] > latitude) continue;
      const x = ring[i + 1] + ((ring[last + 1] - ring[i + 1]) * (latitude - ring[i])) / (ring[last] - ring[i]);
      if (longitude < x) within = !within;
    }
  }
  return within;
}

const URGENCY = [6, 2, 3, 4, 5, 1]; // of a code: past its limit first, not measured last
export const moreUrgent = (a, b) => URGENCY[a] - URGENCY[b];

// Days were counted back from the newest visit, which is day 1; 0 is none.
function dayOf(back, newest) {
  if (!back || !newest) return null;
  const day = new Date(`${newest}T00:00:00Z`);
  day.setUTCDate(day.getUTCDate() - (back > 0 ? back - 1 : back));
  return day.toISOString().slice(0, 10);
}

const tenths = (value) => (value === NO_FIGURE ? null : value / 10);

function valvesOf(data) {
  const rank = fixedOf(data.valves.rank), columns = Object.fromEntries(["code", "stress", "se", "readings", "watered", "due", "early", "late"].map((name) => [name, numbersOf(data.valves[name])]));
  const days = new Map(); // few days stand for many valves
  const day = (name, i) => {
    const back = columns[name][i] ?? 0;
    if (!days.has(back)) days.set(back, dayOf(back, data.newest));
    return days.get(back);
  };
  return namesOf(data.valves.names).map((name, i) => ({
    kind: "valve", name, rank: rank[i] || null, code: columns.code[i], stress: tenths(columns.stress[i]), se: tenths(columns.se[i]), readings: columns.readings[i],
    watered: day("watered", i), due: day("due", i), early: day("early", i), late: day("late", i), block: null, rings: null,
  }));
}

function blocksOf(data, valves) {
  const crop = numbersOf(data.blocks.crop), readings = numbersOf(data.blocks.readings), counts = numbersOf(data.valves.count), shapes = ringsOf(data.blocks.shapes);
  let at = 0;
  return namesOf(data.blocks.names).map((name, i) => {
    const own = valves.slice(at, at + counts[i]);
    at += counts[i];
    const block = { kind: "block", name, crop: data.crops[crop[i]], readings: readings[i], rings: shapes[i], box: boxOf(shapes[i]), valves: own, code: own.reduce((worst, { code }) => (moreUrgent(code, worst) < 0 ? code : worst), 0), ranch: null };
    for (const valve of own) valve.block = block;
    return block;
  });
}

// The district as ranches with blocks with valves, all in the order they came in.
export function districtOf(data) {
  const valves = valvesOf(data), blocks = blocksOf(data, valves), ranches = [];
  let at = 0, place = 0;
  for (const told of data.ranches) {
    const own = told.mapped ? blocks.slice(at, at + told.blocks) : [];
    at += own.length;
    const ranch = { ...told, kind: "ranch", blocks: own, valves: own.flatMap((block) => block.valves), box: joinedBox(own.map(({ box }) => box)), zones: told.mapped ? data.zones[place++] ?? null : null };
    for (const block of own) block.ranch = ranch;
    ranches.push(ranch);
  }
  return { ranches, blocks, valves };
}

// Gives the valve zones of a ranch their outlines, once they are asked for; false where the page does not hold them.
export function openZones(ranch) {
  if (ranch.zones === null) return false;
  if (!ranch.opened) {
    ringsOf(ranch.zones).forEach((rings, i) => { ranch.valves[i].rings = rings; });
    ranch.opened = true;
  }
  return true;
}
