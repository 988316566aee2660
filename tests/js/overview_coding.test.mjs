// How blocks and valve zones are put together from the short text they come as.
import assert from "node:assert/strict";
import test from "node:test";
import { PAST, boxOf, districtOf, fixedOf, holds, joinedBox, namesOf, numbersOf, openZones, ringsOf } from "../../stressmap/output/web/overview/coding.js";

// "AAgBC" is a segment of a source map that many descriptions of Base64 VLQ take apart (ECMA-426 has the rule); from memory.
test("numbers are Base64 VLQ", () => {
  assert.deepEqual(numbersOf("AAgBC"), [0, 0, 16, 1]);
  assert.deepEqual(numbersOf("ACDegB"), [0, 1, -1, 15, 16]);
  assert.deepEqual(numbersOf(""), []);
});

test("numbers of fixed width", () => {
  assert.deepEqual(fixedOf("2AAABBA"), [0, 1, 64]);
  assert.deepEqual(fixedOf("1"), []);
});

test("names count on and keep their beginnings", () => {
  assert.deepEqual(namesOf("AB08\n*2\nBend"), ["B08", "B09", "B10", "Bend"]);
  assert.deepEqual(namesOf("A9\n*1"), ["9", "10"]);
  assert.deepEqual(namesOf(""), []);
});

// One square of a metre or so with a hole, then a shape without outline: [2 rings [4 corners ...] [4 corners ...]], [0 rings].
const SQUARE = [[0, 0, 0, 10, 10, 10, 10, 0], [4, 4, 4, 6, 6, 6, 6, 4]];

test("rings fill by the even-odd rule, so that a hole is none of the shape", () => {
  assert.equal(holds(SQUARE, 2, 2), true);
  assert.equal(holds(SQUARE, 5, 5), false);
  assert.equal(holds(SQUARE, 5, 11), false);
  assert.deepEqual(boxOf(SQUARE), [0, 0, 10, 10]);
  assert.equal(boxOf([]), null);
  assert.deepEqual(joinedBox([null, [0, 0, 1, 1], [-2, 3, 0, 4]]), [-2, 0, 1, 4]);
  assert.equal(joinedBox([null]), null);
});

test("rings begin where the one before began", () => {
  assert.deepEqual(ringsOf("CGAAAEEA").map((rings) => rings.map((ring) => [...ring])), [[[0, 0, 0, 2, 2, 2]]]);
  assert.deepEqual(ringsOf("A"), [[]]);
});

const data = () => ({
  newest: "2026-07-15", crops: ["prune"],
  ranches: [{ name: "Bad", visit: null, problems: [["a.csv", 4, null, "x", "y"]] }, { name: "North", mapped: true, visit: ["2026-07-14", "2026-07-15"], blocks: 2, problems: [] }],
  blocks: { names: "AB1\n*1", crop: "AA", readings: "KA", shapes: "CGAAAEEACGAAAEEA" },
  valves: { count: "EC", names: "AV1\n*2", rank: "1CBA", code: "KEA", stress: "oDg1V/z6B", se: "CCC", readings: "CCA", watered: "CEA", due: "DAA", early: "", late: "" },
  zones: { 0: "CGAAAEEACGAAAEEACGAAAEEA" },
});

test("ranches get their blocks, blocks their valves and the code of the most urgent", () => {
  const { ranches, blocks, valves } = districtOf(data());
  assert.deepEqual(ranches.map(({ name, blocks: own }) => [name, own.length]), [["Bad", 0], ["North", 2]]);
  assert.deepEqual(blocks.map(({ name, code, valves: own }) => [name, code, own.map(({ name: valve }) => valve)]), [["B1", PAST, ["V1", "V2"]], ["B2", 0, ["V3"]]]);
  assert.deepEqual(valves.map(({ rank }) => rank), [2, 1, null]);
  assert.equal(valves[2].block.ranch.name, "North");
});

test("days count back from the newest visit, later ones on from it", () => {
  const [first, second, third] = districtOf(data()).valves;
  assert.equal(first.watered, "2026-07-15");
  assert.equal(first.due, "2026-07-16");
  assert.equal(second.watered, "2026-07-14");
  assert.equal(third.watered, null);
  assert.equal(third.early, null);
});

test("valve zones are opened once asked for, and only where the page holds them", () => {
  const { ranches } = districtOf(data());
  assert.equal(ranches[1].valves[0].rings, null);
  assert.equal(openZones(ranches[1]), true);
  assert.deepEqual(ranches[1].valves.map(({ rings }) => rings.length), [1, 1, 1]);
  assert.equal(openZones({ zones: null }), false);
});
