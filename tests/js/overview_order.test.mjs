// What is urgent over all ranches, how ranches are ordered, what a search finds, which marks have room.
import assert from "node:assert/strict";
import test from "node:test";
import { overlaps } from "../../stressmap/output/web/map/geometry.js";
import { PAST } from "../../stressmap/output/web/overview/coding.js";
import { byRank, daysFrom, firstRank, found, kept, ordered, searchable, tally, worstOf } from "../../stressmap/output/web/overview/order.js";

const ranch = (name, valves, visit = ["2026-07-14", "2026-07-15"]) => ({ name, visit, valves, kind: "ranch" });
const valve = (rank, code, name = `V${rank}`) => ({ rank, code, name });
const north = ranch("North", [valve(3, 2), valve(4, 4)]);
const south = ranch("Peña", [valve(2, 1), valve(null, 0)], ["2026-07-01", "2026-07-02"]);
const dry = ranch("Dry", [valve(1, PAST)]);
const bad = ranch("Bad", [], null);

test("valves by rank, those without one left out", () => {
  assert.deepEqual(byRank([...north.valves, ...south.valves]).map(({ rank }) => rank), [2, 3, 4]);
});

test("the most urgent valve of a ranch tells for it", () => {
  assert.equal(worstOf(dry), PAST);
  assert.equal(worstOf(south), 1);
  assert.equal(worstOf(bad), 0);
  assert.equal(firstRank(bad), Infinity);
  assert.deepEqual(tally(south.valves), [1, 1, 0, 0, 0, 0]);
});

test("ranches that failed come first, then by urgency or by the oldest visit", () => {
  const all = [north, south, bad, dry];
  assert.deepEqual(ordered(all, "urgent").map(({ name }) => name), ["Bad", "Dry", "Peña", "North"]);
  assert.deepEqual(ordered(all, "visit").map(({ name }) => name), ["Bad", "Peña", "North", "Dry"]);
});

test("days between two days, over a month's end and a leap day", () => {
  assert.equal(daysFrom("2026-07-15", "2026-08-01"), 17);
  assert.equal(daysFrom("2028-02-28", "2028-03-01"), 2);
});

test("a search finds without accents, beginnings first, and takes a ranch's name beside", () => {
  const block = { name: "Bend", ranch: south, valves: [], kind: "block" };
  const valves = [{ ...valve(1, 1, "AV03"), block }, { ...valve(2, 1, "V03"), block }, { ...valve(3, 1, "V03"), block: { name: "Hill", ranch: north } }];
  const index = searchable({ ranches: [north, south], blocks: [block], valves });
  assert.equal(found(index, "  ", 10), null);
  assert.deepEqual(found(index, "pena", 10).ranches.things.map(({ name }) => name), ["Peña"]);
  assert.deepEqual(found(index, "v03", 2).valves, { count: 3, things: [valves[1], valves[2]] });
  assert.deepEqual(found(index, "north v03", 10).valves.things, [valves[2]]);
  assert.equal(found(index, "zzz", 10).blocks.count, 0);
});

test("marks keep apart: name, sign alone, none", () => {
  const box = (left, right) => ({ left, right, top: 0, bottom: 10 });
  const marks = [{ sign: box(0, 10), whole: box(0, 50) }, { sign: box(60, 70), whole: box(40, 90) }, { sign: box(5, 15), whole: box(0, 30) }];
  assert.deepEqual(kept(marks, overlaps), ["whole", "sign", "none"]);
  assert.deepEqual(kept(marks, overlaps, [box(30, 60)]), ["sign", "sign", "none"]);
});
