// Where one stands: metres, outlines, the trees next to a place.
const METRES = 111195; // Of a degree of latitude.

export function metres(one, other) {
  if (!one || !other || one.lon === null || other.lon === null || one.lon === undefined || other.lon === undefined) return null;
  const turn = ((one.lon - other.lon + 540) % 360) - 180; // The short way round.
  return Math.hypot(turn * Math.cos((one.lat * Math.PI) / 180), one.lat - other.lat) * METRES;
}

// Rings of all parts and holes of an outline: a place inside an odd number of them is inside.
export function inside({ lon, lat }, rings) {
  let odd = false;
  for (const ring of rings) {
    for (let i = 0, j = ring.length - 1; i < ring.length; j = i, i += 1) {
      const [x, y] = ring[i], [fromX, fromY] = ring[j];
      if (y > lat !== fromY > lat && lon < ((fromX - x) * (lat - y)) / (fromY - y) + x) odd = !odd;
    }
  }
  return odd;
}

export function outlineAt(place, outlines) {
  return (place && outlines.find(({ rings }) => inside(place, rings))) || null;
}

// Block and valve zone of a place, null where it is in none.
export function whereIs(place, { blocks, valves }) {
  const block = outlineAt(place, blocks), valve = outlineAt(place, valves);
  return { block: block ? block.name : null, valve: valve ? valve.name : null };
}

// Trees by distance, those without a place last; without a place to be near, in the order they came in.
export function byDistance(trees, place) {
  if (!place) return trees.map((tree) => ({ tree, away: null }));
  const far = ({ away }) => (away === null ? Infinity : away);
  return trees.map((tree) => ({ tree, away: metres(tree, place) })).sort((a, b) => (far(a) === far(b) ? 0 : far(a) - far(b)));
}

const GOOD_M = 15; // A fix this good is taken before what is known of the tree.

// The place that goes with a reading: a good fix, else the tree's own place, else whatever fix there was.
export function placeOf(fix, tree) {
  const known = tree && tree.lon !== null && tree.lon !== undefined ? { lon: tree.lon, lat: tree.lat, accuracy: tree.accuracy === undefined ? null : tree.accuracy } : null;
  if (fix && (fix.accuracy <= GOOD_M || !known)) return fix;
  return known;
}

// What a reading adds to the place of its bag: a better fix, or a place where there was none; else null.
export function betterPlace(fix, before, tree) {
  if (!before) return placeOf(fix, tree);
  const better = fix && fix.accuracy <= GOOD_M && (before.accuracy === null || fix.accuracy < before.accuracy);
  return better ? fix : null;
}
