import assert from "node:assert/strict";
import { test } from "node:test";

import { betterPlace, byDistance, inside, metres, placeOf, whereIs } from "../../stressmap/output/web/form/places.js";

const SQUARE = [[0, 0], [0.01, 0], [0.01, 0.01], [0, 0.01], [0, 0]];
const HOLE = [[0.004, 0.004], [0.006, 0.004], [0.006, 0.006], [0.004, 0.006], [0.004, 0.004]];
const RANCH = { blocks: [{ name: "North", rings: [SQUARE, HOLE] }], valves: [{ name: "N1", rings: [SQUARE] }] };

test("a degree of latitude is 60 nautical miles of 1852 m, about", () => {
  assert.ok(Math.abs(metres({ lon: 0, lat: 0 }, { lon: 0, lat: 1 }) - 60 * 1852) < 200);
  // At 60 degrees north a degree of longitude is half as long.
  assert.ok(Math.abs(metres({ lon: 0, lat: 60 }, { lon: 1, lat: 60 }) - 30 * 1852) < 200);
  assert.ok(metres({ lon: 179.9999, lat: 0 }, { lon: -179.9999, lat: 0 }) < 30);
  assert.equal(metres(null, { lon: 0, lat: 0 }), null);
  assert.equal(metres({ lon: null, lat: null }, { lon: 0, lat: 0 }), null);
});

test("a place is in the block around it, not in that block's hole", () => {
  assert.equal(inside({ lon: 0.002, lat: 0.002 }, [SQUARE, HOLE]), true);
  assert.equal(inside({ lon: 0.005, lat: 0.005 }, [SQUARE, HOLE]), false);
  assert.equal(inside({ lon: 0.02, lat: 0.002 }, [SQUARE, HOLE]), false);
  assert.deepEqual(whereIs({ lon: 0.002, lat: 0.002 }, RANCH), { block: "North", valve: "N1" });
  assert.deepEqual(whereIs({ lon: 1, lat: 1 }, RANCH), { block: null, valve: null });
  assert.deepEqual(whereIs(null, RANCH), { block: null, valve: null });
});

test("the nearest tree stands first, one without a place last", () => {
  const trees = [{ tree_id: "far", lon: 0.01, lat: 0 }, { tree_id: "nowhere", lon: null, lat: null }, { tree_id: "near", lon: 0.001, lat: 0 }];
  assert.deepEqual(byDistance(trees, { lon: 0, lat: 0 }).map(({ tree }) => tree.tree_id), ["near", "far", "nowhere"]);
  assert.deepEqual(byDistance(trees, null).map(({ tree }) => tree.tree_id), ["far", "nowhere", "near"]);
});

test("a good fix goes before the tree's known place, a poor one behind it", () => {
  const tree = { lon: 1, lat: 2 }, good = { lon: 1.1, lat: 2.1, accuracy: 6 }, poor = { ...good, accuracy: 80 };
  assert.deepEqual(placeOf(good, tree), good);
  assert.deepEqual(placeOf(poor, tree), { lon: 1, lat: 2, accuracy: null });
  assert.deepEqual(placeOf(poor, { lon: null, lat: null }), poor);
  assert.equal(placeOf(null, { lon: null, lat: null }), null);
});

test("a reading only betters the place of its bag", () => {
  const tree = { lon: 1, lat: 2 }, at = (accuracy) => ({ lon: 1.1, lat: 2.1, accuracy });
  assert.deepEqual(betterPlace(at(4), at(8), tree), at(4));
  assert.deepEqual(betterPlace(at(4), { lon: 1, lat: 2, accuracy: null }, tree), at(4));
  assert.deepEqual(betterPlace(at(80), null, { lon: null, lat: null }), at(80));
  for (const fix of [at(9), at(80), null]) assert.equal(betterPlace(fix, at(8), tree), null);
});
