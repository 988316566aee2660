import assert from "node:assert/strict";
import { test } from "node:test";

import { everything, fold, inBags, versionsOf, waiting } from "../../stressmap/output/web/form/record.js";

const ZONE = "America/Los_Angeles", NOON = Date.UTC(2026, 6, 14, 20, 0);
const TREE = { key: "a / t1", tree_id: "T1", block: "A", valve: "A1" };
const BAG = { kind: "bag", reading: "r1", at: NOON, tree: TREE, place: { lon: 1, lat: 2, accuracy: 5 }, stop: "3", crew: "Ana", chamber: "K1" };
const READ = { kind: "read", reading: "r1", at: NOON + 720000, pressure: 13.5, unit: "bar", place: null };
const SET = { kind: "set", entry: "s1", at: NOON, code: "K3T7P", valve: "A1", block: "A", plannedStart: NOON, plannedEnd: NOON + 3600000 };
const of = (...events) => fold(events, ZONE);
const ids = ({ readings, sets }) => [...readings, ...sets].map(({ id }) => id);

test("a bag and its reading are one reading of that day, each step a version", () => {
  const [one] = of(BAG, READ).readings;
  assert.deepEqual([one.bagAt, one.readAt, one.pressure, one.unit, one.version, one.day, one.place.accuracy], [NOON, NOON + 720000, 13.5, "bar", 2, "2026-07-14", 5]);
  assert.deepEqual([one.crew, one.chamber, one.stop, one.withdrawn], ["Ana", "K1", "3", false]);
  assert.deepEqual(inBags(of(BAG).readings).map(({ id }) => id), ["r1"]);
  assert.deepEqual(inBags(of(BAG, READ).readings), []);
});

test("a correction keeps the time of the reading, taking it back and bringing it back keep all", () => {
  const [one] = of(BAG, READ, { ...READ, at: NOON + 900000, pressure: 14 }).readings;
  assert.deepEqual([one.pressure, one.readAt, one.version], [14, NOON + 720000, 3]);
  const [undone] = of(BAG, READ, { kind: "unread", reading: "r1", at: NOON + 730000 }).readings;
  assert.deepEqual([undone.pressure, undone.readAt, undone.bagAt], [null, null, NOON]);
  const [gone] = of(BAG, READ, { kind: "withdraw", reading: "r1" }).readings;
  assert.deepEqual([gone.withdrawn, gone.pressure, gone.version], [true, 13.5, 3]);
  assert.equal(of(BAG, READ, { kind: "withdraw", reading: "r1" }, { kind: "restore", reading: "r1" }).readings[0].withdrawn, false);
});

test("times can be put right, notes and a second reading are added", () => {
  const details = { kind: "details", reading: "r1", note: "wet", trouble: ["leak"], temp: 96, rh: 21 };
  const [one] = of(BAG, READ, details, { kind: "recheck", reading: "r1", recheck: 13.8 }, { kind: "bagged", reading: "r1", time: NOON - 60000 }, { kind: "timed", reading: "r1", time: NOON + 60000 }).readings;
  assert.equal(one.readAt, NOON + 60000);
  assert.deepEqual([one.note, one.trouble, one.temp, one.rh, one.recheck, one.bagAt, one.version], ["wet", ["leak"], 96, 21, 13.8, NOON - 60000, 6]);
});

test("an event of what was never begun, or of a kind that is not known, says nothing", () => {
  const work = of(READ, { kind: "closed", entry: "s9", time: NOON }, { kind: "of a later form", reading: "r1" }, { kind: "day", day: "2026-07-14", crew: "Ana", chamber: "K1" });
  assert.deepEqual([work.readings, work.sets, work.days.get("2026-07-14").crew], [[], [], "Ana"]);
});

test("valve times: opened, closed, put right, each by an event", () => {
  const [set] = of(SET, { kind: "opened", entry: "s1", time: NOON + 1 }, { kind: "closed", entry: "s1", time: NOON + 5 }, { kind: "opened", entry: "s1", time: NOON + 2 }, { kind: "set_details", entry: "s1", note: "late", trouble: ["pump_off"] }).sets;
  assert.deepEqual([set.start, set.end, set.note, set.trouble, set.version, set.code], [NOON + 2, NOON + 5, "late", ["pump_off"], 5, "K3T7P"]);
});

test("what waits is what tells something and is newer than what left the phone", () => {
  const opened = { kind: "opened", entry: "s1", time: NOON };
  assert.deepEqual(ids(waiting(of(BAG, SET))), []);
  assert.deepEqual(ids(waiting(of(BAG, READ, SET, opened))), ["r1", "s1"]);
  const work = of(BAG, READ, SET, opened), handed = { kind: "handed", versions: versionsOf(waiting(work)) };
  assert.deepEqual(handed.versions, { r1: 2, s1: 2 });
  assert.deepEqual(ids(waiting(of(BAG, READ, SET, opened, handed))), []);
  assert.deepEqual(ids(everything(of(BAG, READ, SET, opened, handed))), ["r1", "s1"]);
  const late = { ...READ, pressure: 15 };
  assert.deepEqual(ids(waiting(of(BAG, READ, SET, opened, handed, late))), ["r1"]);
});

test("what is taken back before it left the phone is not told; afterwards it is, also in part", () => {
  const gone = { kind: "withdraw", reading: "r1" }, handed = { kind: "handed", versions: { r1: 2 } };
  assert.deepEqual(ids(waiting(of(BAG, READ, gone))), []);
  assert.deepEqual(ids(waiting(of(BAG, READ, handed, gone))), ["r1"]);
  assert.deepEqual(ids(waiting(of(BAG, READ, handed, { kind: "unread", reading: "r1" }))), ["r1"]);
});

test("handing over twice, or an older state later, forgets nothing", () => {
  const work = of(BAG, READ, { kind: "handed", versions: { r1: 2 } }, { kind: "handed", versions: { r1: 1 } });
  assert.deepEqual(ids(waiting(work)), []);
});
