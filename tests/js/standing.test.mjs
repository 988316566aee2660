import assert from "node:assert/strict";
import { test } from "node:test";

import { addUpAsWritten, isPastLimit, mostlyOne, partedByLimit, rankColour } from "../../stressmap/output/web/map/standing.js";

const valve = (rank, priority, { area = 1, pastLimit = false, measured = true } = {}) => ({ valve: `V${rank}`, rank, priority, area, pastLimit, measured });

test("a guess is never shown as past what the crop bears", () => {
  assert.equal(isPastLimit(valve(1, 1, { pastLimit: true })), true);
  assert.equal(isPastLimit(valve(1, 1, { pastLimit: true, measured: false })), false);
  assert.equal(isPastLimit(valve(1, 1)), false);
  assert.equal(isPastLimit({ priority: 1 }), false);
});

test("those past what the crop bears stand first, each part in its order", () => {
  const all = [valve(1, 1, { pastLimit: true, measured: false }), valve(2, 1, { pastLimit: true }), valve(3, 1, { pastLimit: true }), valve(4, 2)];
  const { past, rest } = partedByLimit(all);
  assert.deepEqual([past.map(({ rank }) => rank), rest.map(({ rank }) => rank)], [[2, 3], [1, 4]]);
});

test("one priority is told only where it holds more than half of the ranked area", () => {
  assert.equal(mostlyOne([valve(1, 1), valve(2, 2)]), null);
  assert.equal(mostlyOne([]), null);
  const most = mostlyOne([valve(1, 1, { area: 2, pastLimit: true }), valve(2, 1), valve(3, 2), valve(4, 3)]);
  assert.deepEqual([most.priority, most.share, most.past, most.first.map(({ rank }) => rank)], [1, 0.6, 1, [1, 2, 3]]);
  const calm = mostlyOne([valve(1, 3), valve(2, 4, { area: 3 })]);
  assert.deepEqual([calm.priority, calm.share, calm.past, calm.first.length], [4, 0.75, 0, 2]);
});

test("what has no rank is no part of the ranked area, and a guess no part of a priority", () => {
  assert.equal(mostlyOne([valve(1, 1), valve(null, 2, { area: 9 })]).priority, 1);
  assert.equal(mostlyOne([valve(1, 1), valve(2, 1, { area: 9, measured: false })]), null);
});

test("the first rank has the dark end of the ramp, the last one the light end, a middle one what lies between", () => {
  const ramp = ["#ffffff", "#804020", "#000000"];
  assert.deepEqual([1, 2, 3].map((rank) => rankColour(rank, 3, ramp)), ["#000000", "#804020", "#ffffff"]);
  assert.equal(rankColour(4, 5, ramp), "#c0a090"); // Half way from ff to 80, 40 and 20: bf.8, 9f.8, 8f.8.
  assert.equal(rankColour(1, 1, ramp), "#000000");
});

test("an equals sign stands only where the parts add up as they are written", () => {
  assert.equal(addUpAsWritten(2, [1.6, 0.4]), true);
  assert.equal(addUpAsWritten(-0.3, [0.1, -0.4]), true);
  assert.equal(addUpAsWritten(0.28, [0.14, 0.14]), false); // Written 0.3, 0.1 and 0.1.
  assert.equal(addUpAsWritten(-0.05, [0, 0]), false); // Written -0.1.
});
