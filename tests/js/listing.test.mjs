import assert from "node:assert/strict";
import { test } from "node:test";

import { atTheClock, beginsTie, byKind, changeColour, clockIn, cropsByEdges, folded, inRankOrder, openings, priorityOf, search, unpackOthers } from "../../stressmap/output/web/map/listing.js";

const VALVES = [
  { valve: "V01", block: "Peña Alta", rank: 1 }, { valve: "V02", block: "River", rank: 2 },
  { valve: "PENA 3", block: "South", rank: 3 }, { valve: "V04", block: null, rank: null },
];
const READINGS = [{ tree: "T-1", used: true, flags: [] }, { tree: null, used: false, flags: ["no_value"] }, { tree: "t-12", used: false, flags: ["outside_visit"] }];
const found = (query) => search(query, VALVES, READINGS).valves.map(({ valve }) => valve);

test("a search takes accents and case as people type them on a phone", () => {
  assert.equal(folded("Ñandú ÁÉ"), "nandu ae");
  assert.equal(folded(null), "");
  assert.deepEqual(found("pena"), ["V01", "PENA 3"]);
  assert.deepEqual(found("PEÑA"), ["V01", "PENA 3"]);
});

test("a search goes through valves and their blocks, in part, in rank order", () => {
  assert.deepEqual(found("v0"), ["V01", "V02", "V04"]);
  assert.deepEqual(found(" river "), ["V02"]);
  assert.deepEqual(found("nowhere"), []);
});

test("trees are listed only when they are asked for, and only those with a name", () => {
  assert.deepEqual(search("", VALVES, READINGS), { asked: false, valves: VALVES, trees: [], others: [] });
  assert.deepEqual(search("   ", VALVES, READINGS).trees, []);
  assert.deepEqual(search("T-1", VALVES, READINGS).trees.map(({ tree }) => tree), ["T-1"]);
  assert.deepEqual(search("T-1", VALVES, READINGS).others.map(({ tree }) => tree), ["t-12"]);
  assert.equal(search("T-1", VALVES, READINGS).asked, true);
});

test("trees of other visits are listed apart, the latest first, those without a day last", () => {
  const other = (time) => ({ tree: "T-1", used: false, flags: ["outside_visit"], time });
  const times = ["2026-06-01T13:00", null, "2026-06-30T13:00", "2025-07-01"];
  assert.deepEqual(search("t", [], times.map(other)).others.map(({ time }) => time), ["2026-06-30T13:00", "2026-06-01T13:00", "2025-07-01", null]);
});

test("readings of other visits are unpacked as they were", () => {
  const packed = {
    total: 9, tree: { words: ["T-1", null], runs: [0, 2, 1, 1] }, day: { words: ["2026-05-14", "2026-06-30", null], runs: [0, 1, 1, 1, 2, 1] }, clock: [785, null, null],
    block: { words: ["B"], runs: [0, 3] }, valve: { words: ["V1", null], runs: [0, 1, 1, 2] }, flags: { words: ["outside_visit", "no_value;outside_visit"], runs: [0, 2, 1, 1] },
    pressure: [9.1, 8, null], stress: [1.2, null, null], rows: [17], steps: [3800000, -12150000, null, 2, -3],
  };
  const common = { used: false, block: "B", predicted: null, vpd: null, tooWet: false };
  assert.deepEqual(unpackOthers(packed), [
    { ...common, row: null, tree: "T-1", time: "2026-05-14T13:05", flags: ["outside_visit"], valve: "V1", pressure: 9.1, stress: 1.2, at: [38, -121.5] },
    { ...common, row: null, tree: "T-1", time: "2026-06-30", flags: ["outside_visit"], valve: null, pressure: 8, stress: null, at: null },
    { ...common, row: 17, tree: null, time: null, flags: ["no_value", "outside_visit"], valve: null, pressure: null, stress: null, at: [38.00002, -121.50003] },
  ]);
});

test("a name that looks like a pattern is searched as it is written", () => {
  const odd = [{ valve: "A.*(1)[", block: "B", rank: 1 }];
  assert.deepEqual(search(".*(1)[", odd, []).valves, odd);
  assert.deepEqual(search("a1", odd, []).valves, []);
});

test("the list goes by rank, those without one last, the chosen one first of all", () => {
  const names = (chosen) => inRankOrder([VALVES[3], VALVES[2], VALVES[0], VALVES[1]], chosen).map(({ valve }) => valve);
  assert.deepEqual(names(null), ["V01", "V02", "PENA 3", "V04"]);
  assert.deepEqual(names(VALVES[2]), ["PENA 3", "V01", "V02", "V04"]);
  assert.deepEqual(names(VALVES[3]), ["V04", "V01", "V02", "PENA 3"]);
  const ranked = [{ rank: 10 }, { rank: 9 }, { rank: 100 }, { rank: null }, { rank: null }];
  assert.deepEqual(inRankOrder(ranked, null).map(({ rank }) => rank), [9, 10, 100, null, null]);
  assert.deepEqual(inRankOrder([], null), []);
});

test("readings are used, left out of this map, or of another visit", () => {
  const { used, leftOut, others } = byKind(READINGS);
  assert.deepEqual([used, leftOut, others], [[READINGS[0]], [READINGS[1]], [READINGS[2]]]);
});

test("what was not measured has no priority that may be shown", () => {
  assert.equal(priorityOf({ measured: true, priority: 2 }), 2);
  assert.equal(priorityOf({ measured: false, priority: 2 }), "none");
  assert.equal(priorityOf({ measured: true, priority: null }), "none");
  assert.equal(priorityOf({ priority: 4 }), 4);
});

test("a tie is told once, before its first valve", () => {
  assert.deepEqual([{ rank: 2, tied: [2, 4] }, { rank: 3, tied: [2, 4] }, { rank: 5, tied: null }].map(beginsTie), [true, false, false]);
});

test("crops of the same edges are told together", () => {
  assert.deepEqual(cropsByEdges({ prune: [0, 2, 4], walnut: [1, 2, 3], almond: [0, 2, 4] }), [
    { edges: [0, 2, 4], crops: ["prune", "almond"] }, { edges: [1, 2, 3], crops: ["walnut"] },
  ]);
  assert.deepEqual(cropsByEdges({}), []);
});

test("a change is coloured by its place between the ends, and grey where it is not clear", () => {
  const ramp = ["a", "b", "c", "d", "e"], colour = (change) => changeColour(change, ramp, 4, "none");
  assert.deepEqual([-9, -4, -2, 0, 2, 4, 9].map((bar) => colour({ bar, clear: true })), ["a", "a", "b", "c", "d", "e", "e"]);
  assert.equal(colour({ bar: 4, clear: false }), "c");
  assert.equal(colour({ bar: null, clear: true }), "none");
  assert.equal(colour(null), "none");
});

const PLANNED = [
  { valve: "A", plan: { sets: [["2026-07-30T20:00", "2026-07-31T06:30", 3, "2026-08-01"]] } }, { valve: "B", plan: { sets: [["2026-07-31T06:30", "2026-07-31T18:00"]] } },
  { valve: "C", plan: { sets: [] } }, { valve: "D", plan: null },
];
const told = (some) => some.map(({ valve, start, end }) => [valve.valve, start, end]);

test("openings go by the clock, those day after day one by one, over the end of a month", () => {
  assert.deepEqual(told(openings(PLANNED)), [
    ["A", "2026-07-30T20:00", "2026-07-31T06:30"], ["B", "2026-07-31T06:30", "2026-07-31T18:00"], ["A", "2026-07-31T20:00", "2026-08-01T06:30"],
    ["A", "2026-08-01T20:00", "2026-08-02T06:30"],
  ]);
});

test("what is open and what comes next is told by the ranch's clock", () => {
  const at = (now) => Object.values(atTheClock(openings(PLANNED), now)).map((some) => told(some).map(([name]) => name));
  assert.deepEqual(at("2026-07-30T12:00"), [[], ["A"]]);
  assert.deepEqual(at("2026-07-31T06:29"), [["A"], ["B"]]);
  assert.deepEqual(at("2026-07-31T06:30"), [["B"], ["A"]]);
  assert.deepEqual(at("2026-08-02T06:30"), [[], []]);
  assert.deepEqual(at(null), [[], []]);
});

test("the clock is that of the ranch's zone, wherever the phone is", () => {
  const moment = new Date("2026-07-31T05:05:00Z");
  assert.equal(clockIn("America/Los_Angeles", moment), "2026-07-30T22:05");
  assert.equal(clockIn("Australia/Adelaide", moment), "2026-07-31T14:35");
  assert.equal(clockIn("No/Such", moment), null);
});
