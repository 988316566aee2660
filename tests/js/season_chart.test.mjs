// Stepping through a picture of the season: the nearest visit to a finger, and the arrow keys.
import assert from "node:assert/strict";
import test from "node:test";
import { nearest, stepped } from "../../stressmap/output/web/season/chart.js";

test("the visit nearest to the finger is taken", () => {
  assert.equal(nearest([0.1, 0.4, 0.9], 0.62), 1);
  assert.equal(nearest([0.1, 0.4, 0.9], 0.7), 2);
  assert.equal(nearest([0.5], 0), 0);
});

test("arrow keys step and stop at the ends", () => {
  assert.equal(stepped(0, "ArrowLeft", 3), 0);
  assert.equal(stepped(0, "ArrowRight", 3), 1);
  assert.equal(stepped(2, "ArrowRight", 3), 2);
  assert.equal(stepped(1, "Home", 3), 0);
  assert.equal(stepped(1, "End", 3), 2);
  assert.equal(stepped(null, "ArrowLeft", 3), 2);
  assert.equal(stepped(null, "ArrowRight", 3), 0);
  assert.equal(stepped(1, "a", 3), null);
});
