import assert from "node:assert/strict";
import { test } from "node:test";

import { atBag, atRead, offExpected, ofPressure, ofRecheck } from "../../stressmap/output/web/form/checks.js";

const ZONE = "America/Los_Angeles", TODAY = "2026-07-14";
const RULES = { window: [780, 900], bagMinutes: 10, recheckBar: 1, possibleBar: [0.5, 70] };
const at = (hour, minute) => Date.UTC(2026, 6, 14, hour + 7, minute);
const codes = (found) => found.map(({ code }) => code);

test("the window of midday readings is the ranch's, both ends in", () => {
  const read = (now) => codes(atRead({ bagAt: now - 15 * 60000, now, rules: RULES, zone: ZONE }));
  assert.deepEqual([read(at(13, 0)), read(at(15, 0))], [[], []]);
  assert.deepEqual([read(at(12, 59)), read(at(15, 1))], [["outside_window"], ["outside_window"]]);
});

test("a bag too short is told with the time from which it is not, a clock set back as such, no bag as none", () => {
  const now = at(13, 30);
  assert.deepEqual(atRead({ bagAt: now - 9 * 60000, now, rules: RULES, zone: ZONE }), [{ code: "short_bag", at: now + 60000 }]);
  assert.deepEqual(codes(atRead({ bagAt: now + 60000, now, rules: RULES, zone: ZONE })), ["clock_moved"]);
  assert.deepEqual(codes(atRead({ bagAt: null, now, rules: RULES, zone: ZONE })), ["no_bag"]);
});

test("a reading far past the range of the round, or far from the tree's last, is doubted with the difference", () => {
  const round = { expected: 13, low: 11, high: 15 };
  assert.equal(offExpected(16.9, round), null);
  assert.equal(offExpected(18, round), 5);
  assert.equal(offExpected(8, round), 5);
  assert.equal(offExpected(19, { last: 13 }), 6);
  assert.equal(offExpected(17, { last: 13 }), null);
  assert.equal(offExpected(40, {}), null);
  assert.deepEqual(ofPressure(18, round, RULES), [{ code: "far_off", bar: 5 }]);
  assert.deepEqual(codes(ofPressure(135, round, RULES)), ["impossible"]);
});

test("two readings of a leaf further apart than the ranch allows are doubted, at the limit not", () => {
  assert.deepEqual(ofRecheck(13.2, 14.2, RULES), []);
  assert.deepEqual(codes(ofRecheck(13.2, 14.3, RULES)), ["recheck_apart"]);
  assert.deepEqual(ofRecheck(13.2, null, RULES), []);
});

test("the same tree twice in a day, and a tree far away, are told at the bag", () => {
  const tree = { key: "a / t1", lon: 0, lat: 0 }, one = { tree, day: TODAY, withdrawn: false, bagAt: 5, readAt: 7 };
  const bag = (readings, fix = null) => atBag({ tree, fix, readings, today: TODAY });
  assert.deepEqual(bag([one]), [{ code: "read_already", at: 7 }]);
  assert.deepEqual(bag([{ ...one, readAt: null }]), [{ code: "in_bag_already", at: 5 }]);
  assert.deepEqual(bag([{ ...one, withdrawn: true }, { ...one, day: "2026-07-07" }, { ...one, tree: { key: "b / t1" } }]), []);
  assert.deepEqual(codes(bag([], { lon: 0, lat: 0.001, accuracy: 5 })), ["far_from_tree"]);
  assert.deepEqual(bag([], { lon: 0, lat: 0.001, accuracy: 90 }), []);
});
