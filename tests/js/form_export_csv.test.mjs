import assert from "node:assert/strict";
import { test } from "node:test";

import { cell, READINGS, readingsCsv, VALVE_TIMES, valveTimesCsv } from "../../stressmap/output/web/form/export_csv.js";

const ZONE = "America/Los_Angeles", NOON = Date.UTC(2026, 6, 14, 20, 0);
const READING = {
  id: "r1", version: 2, withdrawn: false, tree: { tree_id: "T1", block: "North, upper", valve: "N1" }, bagAt: NOON, readAt: NOON + 720000, pressure: 13.5,
  recheck: null, unit: "bar", place: { lon: -120.60274412, lat: 37.00185, accuracy: 5.04 }, temp: 96, rh: 21, chamber: "K1", crew: "Ana", stop: "3", trouble: ["leak", "sick_tree"], note: 'says "dry"\nand more',
};
const SET = { id: "s1", version: 3, withdrawn: true, code: "K3T7P", valve: "N1", block: "North", plannedStart: NOON, plannedEnd: NOON + 3600000, start: NOON + 60000, end: null, trouble: [], note: "" };

test("readings leave in the gauge's unit, with the ranch's clock, one line each", () => {
  const [head, row, rest] = readingsCsv([READING], ZONE, "F").split("\n");
  assert.deepEqual(head.split(","), READINGS.map((name) => ({ pressure: "pressure_bar", recheck: "recheck_bar", temp: "temp_f" }[name] || name)));
  assert.equal(row, 'r1,2,false,T1,2026-07-14T13:12:00-07:00,2026-07-14T13:00:00-07:00,13.5,,bar,-120.6027441,37.00185,5,"North, upper",N1,96,21,K1,Ana,3,"leak;sick_tree","says ""dry"" and more"');
  assert.equal(rest, "");
});

test("figures of two gauges in one file state their unit row by row", () => {
  const [head, first, second] = readingsCsv([READING, { ...READING, id: "r2", bagAt: NOON + 1, unit: "psi", pressure: 196 }], ZONE).split("\n");
  assert.ok(head.includes(",pressure,recheck,unit,") && head.includes(",temp_c,"));
  assert.ok(first.includes(",13.5,,bar,") && second.includes(",196,,psi,"));
});

test("valve times leave with their code, planned and real times; what is missing is empty", () => {
  const [head, row] = valveTimesCsv([SET], ZONE).split("\n");
  assert.equal(head, VALVE_TIMES.join(","));
  assert.equal(row, "s1,3,true,K3T7P,N1,North,2026-07-14T13:00:00-07:00,2026-07-14T14:00:00-07:00,2026-07-14T13:01:00-07:00,,,");
});

test("the order is that of the clock, whatever order they were stored in", () => {
  const later = { ...READING, id: "r0", bagAt: NOON + 5 };
  assert.equal(readingsCsv([later, READING], ZONE), readingsCsv([READING, later], ZONE));
});

test("nothing that was typed runs as a formula or breaks a line", () => {
  assert.deepEqual(["=1+1", "+1", "-1", "@x", "\u200b=1", "a;=b", "a\r\nb", "", null, 5, -1.5].map(cell), ["'=1+1", "'+1", "'-1", "'@x", "'\u200b=1", "\"a;'=b\"", "a b", "", "", "5", "-1.5"]);
});

test("what was handed over and no longer says anything is taken back", () => {
  const bare = { ...READING, pressure: null, readAt: null, trouble: [], note: "" }, undone = { ...SET, withdrawn: false, start: null };
  assert.ok(readingsCsv([bare], ZONE).split("\n")[1].startsWith("r1,2,true,T1,,"));
  assert.ok(valveTimesCsv([undone], ZONE).split("\n")[1].startsWith("s1,3,true,"));
  assert.ok(valveTimesCsv([{ ...undone, trouble: ["not_opened"] }], ZONE).split("\n")[1].startsWith("s1,3,false,"));
});
