import assert from "node:assert/strict";
import { test } from "node:test";

import { boxAt, contains, overlaps, touches, turned } from "../../stressmap/output/web/map/geometry.js";
import { outline, rectangle } from "./shapes.mjs";

const BOX = { left: 10, top: 10, right: 20, bottom: 20 };

test("boxes that only touch do not overlap", () => {
  assert.equal(overlaps(BOX, { left: 20, top: 10, right: 30, bottom: 20 }), false);
  assert.equal(overlaps(BOX, { left: 19.9, top: 10, right: 30, bottom: 20 }), true);
  assert.equal(contains(BOX, BOX), true);
});

test("a longitude is told as others tell it, and drawn beside the ranch", () => {
  assert.equal(turned(180.25, 0), -179.75);
  assert.equal(turned(-180.25, 0), 179.75);
  assert.equal(turned(-179.75, 179.5), 180.25);
  assert.equal(turned(-121.5, 0), -121.5);
  assert.equal(turned(-121.5, -121.8), -121.5);
});

test("a box stands around its middle", () => {
  assert.deepEqual(boxAt(15, 15, 10, 4), { left: 10, top: 13, right: 20, bottom: 17 });
});

test("a line touches a box when it crosses it, ends in it, lies in it or grazes it", () => {
  const at = (x, y) => ({ x, y });
  assert.equal(touches(at(0, 15), at(30, 15), BOX), true);
  assert.equal(touches(at(0, 0), at(15, 15), BOX), true);
  assert.equal(touches(at(12, 12), at(18, 18), BOX), true);
  assert.equal(touches(at(0, 10), at(30, 10), BOX), true);
  assert.equal(touches(at(15, 15), at(15, 15), BOX), true);
  assert.equal(touches(at(0, 9), at(30, 9), BOX), false);
  assert.equal(touches(at(0, 15), at(9, 15), BOX), false);
  assert.equal(touches(at(0, 25), at(25, 50), BOX), false);
  // Its bounding box overlaps, the slanting line itself passes the corner by.
  assert.equal(touches(at(0, 19), at(19, 0), BOX), false);
});

test("spans of a U are its two arms, above the part that joins them", () => {
  const u = outline([[0, 0], [30, 0], [30, 70], [70, 70], [70, 0], [100, 0], [100, 100], [0, 100]]);
  assert.deepEqual(u.spansAt(50), [[0, 30], [70, 100]]);
  assert.deepEqual(u.spansAt(85), [[0, 100]]);
  assert.equal(u.widthAt(50), 30);
  assert.equal(u.widthAt(500), 0);
});

test("a box lies in a shape with its rim, not on its edge, not in its bay, not in its hole", () => {
  const square = rectangle(0, 0, 100, 100);
  assert.equal(square.holds(boxAt(50, 50, 95, 95), 2), true);
  assert.equal(square.holds(boxAt(50, 50, 96, 96), 2), false);
  const u = outline([[0, 0], [30, 0], [30, 70], [70, 70], [70, 0], [100, 0], [100, 100], [0, 100]]);
  assert.equal(u.holds(boxAt(50, 30, 10, 10), 2), false);
  assert.equal(u.holds(boxAt(15, 30, 10, 10), 2), true);
  const ring = rectangle(0, 0, 100, 100);
  ring.ringsOf = () => [[[0, 0], [100, 0], [100, 100], [0, 100]], [[40, 40], [60, 40], [60, 60], [40, 60]]]
    .map((corners) => corners.map(([x, y]) => ({ x, y })));
  assert.equal(ring.holds(boxAt(50, 50, 10, 10), 2), false);
  assert.equal(ring.holds(boxAt(50, 50, 30, 30), 2), false);
  assert.equal(ring.holds(boxAt(20, 20, 30, 30), 2), true);
});
