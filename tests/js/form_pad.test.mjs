import assert from "node:assert/strict";
import { test } from "node:test";

import { ERASE, POINT, pressed, value } from "../../stressmap/output/web/form/pad.js";

const typed = (keys, decimals = 2) => keys.reduce((text, key) => pressed(text, key, decimals), "");

test("keys make the number that the gauge shows", () => {
  assert.equal(typed(["1", "3", POINT, "5"]), "13.5");
  assert.equal(value(typed(["1", "3", POINT, "5"])), 13.5);
  assert.equal(typed([POINT, "5"]), "0.5");
  assert.equal(typed(["0", "7"]), "7");
});

test("what no gauge shows cannot be typed: two points, more decimals, five digits, a point in whole units", () => {
  assert.equal(typed(["1", POINT, POINT, "2", "3", "4"]), "1.23");
  assert.equal(typed(["1", "2", "3", "4", "5"]), "1234");
  assert.equal(typed(["1", "9", POINT, "5"], 0), "195");
});

test("a digit can be erased, and nothing is no number", () => {
  assert.equal(typed(["1", "3", ERASE, "4"]), "14");
  assert.equal(typed([ERASE]), "");
  assert.deepEqual([value(""), value("0"), value("12.")], [null, 0, 12]);
});
