import assert from "node:assert/strict";
import { test } from "node:test";

import { inRankOrder } from "../../stressmap/output/web/map/listing.js";
import { MOST_NAMES, RANK, isSmudge } from "../../stressmap/output/web/map/placement.js";
import { contains, grown, overlaps } from "../../stressmap/output/web/map/geometry.js";
import { covering, dot, drawing, outline, placement, rectangle, valve } from "./shapes.mjs";

const FIELD = { block: "North" };
const boxOf = (placed, kind, name) => placed.find((label) => label.kind === kind && (label.item.valve ?? label.item.block) === name)?.box;

test("nothing to write on, nothing written", () => {
  const labels = placement();
  labels.placeRanks([]);
  labels.placeNames([], []);
  assert.deepEqual(labels.placed, []);
});

test("number and name of one large zone share its middle", () => {
  const labels = placement(), only = [[valve(1), rectangle(0, 0, 1000, 1000)]];
  labels.placeRanks(only);
  labels.placeNames(only, []);
  // The pair is 40 + 3 + 1 + 18 = 62 high around 500; the number is its upper 40, 52 wide.
  assert.deepEqual(boxOf(labels.placed, "rank", "V1"), { left: 474, top: 469, right: 526, bottom: 509 });
  // The name, 16 by 20, begins 3 + 1 under the number.
  assert.deepEqual(boxOf(labels.placed, "valve", "V1"), { left: 492, top: 513, right: 508, bottom: 533 });
});

test("a number stands in the middle by itself where names are not shown", () => {
  const labels = placement({ besideNames: false });
  labels.placeRanks([[valve(1), rectangle(100, 100, 300, 300)]]);
  assert.deepEqual(labels.placed[0].box, { left: 174, top: 180, right: 226, bottom: 220 });
});

test("in a narrow zone the number is slim, by how many digits it has", () => {
  for (const [rank, width] of [[7, 36], [12, 36], [20, 36]]) {
    const labels = placement({ besideNames: false });
    labels.placeRanks([[valve(rank), rectangle(100, 100, 150, 300)]]);
    assert.equal(labels.placed[0].box.right - labels.placed[0].box.left, width);
  }
});

test("the first twenty stick out of a zone too small for them, later ones are left out", () => {
  const labels = placement();
  labels.placeRanks([[valve(20), rectangle(100, 100, 110, 110)], [valve(21), rectangle(500, 500, 510, 510)]]);
  assert.deepEqual(labels.placed.map(({ item }) => item.rank), [20]);
});

test("the chosen valve keeps its number, however small it is", () => {
  const far = valve(300), labels = placement({ chosen: far });
  labels.placeRanks([[valve(299), rectangle(100, 100, 110, 110)], [far, rectangle(500, 500, 510, 510)]]);
  assert.deepEqual(labels.placed.map(({ item }) => item.rank), [300]);
});

test("where two numbers would cover each other, the more urgent one stays, whatever the order they came in", () => {
  const near = new Map([[valve(3), rectangle(100, 100, 130, 130)], [valve(2), rectangle(110, 100, 140, 130)], [valve(1), rectangle(120, 100, 150, 130)]]);
  const labels = placement();
  labels.placeRanks(inRankOrder(near.keys(), null).map((item) => [item, near.get(item)]));
  assert.deepEqual(labels.placed.map(({ item }) => item.rank), [1]);
});

test("nothing covers a button or leaves the map", () => {
  const button = { left: 450, top: 450, right: 550, bottom: 550 };
  const labels = placement({ taken: [button] }), only = [[valve(1), rectangle(-300, -300, 1300, 1300)]];
  labels.placeRanks(only);
  labels.placeNames(only, [[FIELD, rectangle(-300, -300, 1300, 1300)]]);
  assert.equal(labels.placed.length, 3);
  for (const { box } of labels.placed) {
    assert.equal(overlaps(box, button), false);
    assert.equal(contains({ left: 2, top: 2, right: 998, bottom: 998 }, box), true);
  }
});

test("where buttons leave no room at all, nothing is written", () => {
  const labels = placement({ taken: [{ left: 0, top: 0, right: 1000, bottom: 1000 }] }), only = [[valve(1), rectangle(0, 0, 1000, 1000)]];
  labels.placeRanks(only);
  labels.placeNames(only, []);
  assert.deepEqual(labels.placed, []);
});

test("a label leaves a reading uncovered where it can, and is written over it where it cannot", () => {
  const zone = () => rectangle(100, 100, 160, 400), reading = dot(130, 250);
  const roomy = placement({ points: [reading], besideNames: false });
  roomy.placeRanks([[valve(1), zone()]]);
  assert.equal(overlaps(roomy.placed[0].box, reading), false);
  assert.equal(contains(grown({ left: 100, top: 100, right: 160, bottom: 400 }, RANK.slack), roomy.placed[0].box), true);
  const crowded = placement({ points: [{ left: 100, top: 100, right: 160, bottom: 400 }], besideNames: false });
  crowded.placeRanks([[valve(1), zone()]]);
  assert.deepEqual(crowded.placed[0].box, { left: 104, top: 230, right: 156, bottom: 270 });
});

test("a name stays inside a shape whose middle lies outside it", () => {
  const u = outline([[100, 100], [300, 100], [300, 700], [700, 700], [700, 100], [900, 100], [900, 720], [100, 720]], { x: 200, y: 400 });
  const labels = placement();
  labels.placeNames([[valve(1, "Upper field"), u]], []);
  const [{ box }] = labels.placed;
  // 11 letters are 88 wide: only the arms, from 100 to 300 and from 700 to 900, hold them above the joint.
  assert.equal(box.bottom < 700 && ((box.left > 100 && box.right < 300) || (box.left > 700 && box.right < 900)), true);
});

test("a name that is too long is cut to the longest width that fits", () => {
  const labels = placement();
  labels.placeNames([[valve(1, "x".repeat(80)), rectangle(100, 100, 400, 200)]], []);
  // 640 pixels; of 480, 320, 220, 160 and 110 the zone, 300 wide, holds 220.
  assert.equal(labels.placed[0].box.right - labels.placed[0].box.left, 220);
});

test("a shape without extent takes no name and breaks nothing", () => {
  const shapes = [outline([[200, 200], [200, 200], [200, 200]]), outline([[300, 300], [400, 300]]), outline([[500, 500]])];
  const labels = placement(), valves = shapes.map((shape, i) => [valve(i + 1), shape]);
  labels.placeRanks(valves);
  labels.placeNames(valves, [[FIELD, outline([[200, 200], [200, 200]])]]);
  assert.deepEqual(labels.placed.map(({ kind, item }) => [kind, item.rank]), [["rank", 1], ["rank", 2], ["rank", 3]]);
});

test("names of one block are of one size, the smaller where more of them fit so", () => {
  const labels = placement(), roomy = rectangle(100, 100, 400, 200), low = rectangle(100, 300, 400, 323);
  labels.placeNames([[valve(1), roomy], [valve(2), low]], []);
  // The low zone is 23 high: less two rims of 2 it holds 18, not 20, and edges may not be touched.
  assert.deepEqual(labels.placed.map(({ height }) => height), [18, 18]);
});

test("a block's name stands for its valves where fewer than half of them have room for theirs", () => {
  const slivers = [0, 1, 2].map((i) => [valve(i + 1, `V${i}`, "North"), rectangle(100, 100 + 15 * i, 400, 115 + 15 * i)]);
  const wide = [valve(4, "V4", "North"), rectangle(100, 145, 400, 245)];
  const labels = placement();
  labels.placeNames([...slivers, wide], [[FIELD, rectangle(100, 100, 400, 245)]]);
  assert.deepEqual(labels.placed.map(({ kind, name }) => [kind, name]), [["block", "North"]]);
  const half = placement();
  half.placeNames([slivers[0], wide], [[FIELD, rectangle(100, 100, 400, 245)]]);
  assert.deepEqual(half.placed.map(({ kind, name }) => [kind, name]), [["valve", "V4"]]);
});

test("a huge ranch stays readable: a bounded number of labels, none over another", () => {
  const side = 8, valves = [];
  for (let i = 0; i < 3000; i += 1) {
    const left = 100 + (i % 80) * 10, top = 100 + Math.floor(i / 80) * 33;
    valves.push([valve(i + 1, `V${i}`, `B${i % 250}`), rectangle(left, top, left + side, top + 30)]);
  }
  const labels = placement();
  labels.placeRanks(valves);
  labels.placeNames(valves, []);
  const ranks = labels.placed.filter(({ kind }) => kind === "rank").map(({ item }) => item.rank);
  assert.equal(ranks[0], 1);
  assert.equal(ranks.every((rank) => rank <= RANK.first), true);
  assert.deepEqual(covering(labels.placed), []);
  const roomy = placement({ view: { left: 0, top: 0, right: 100000, bottom: 100000 } });
  const fields = valves.map(([item], i) => [item, rectangle((i % 60) * 200, Math.floor(i / 60) * 200, (i % 60) * 200 + 190, Math.floor(i / 60) * 200 + 190)]);
  roomy.placeRanks(fields);
  assert.deepEqual(roomy.placed.map(({ item }) => item.rank), Array.from({ length: RANK.most }, (_, i) => i + 1));
  roomy.placeNames(fields, []);
  assert.equal(roomy.placed.length, RANK.most + MOST_NAMES);
});

test("however zones lie: labels are apart, on the map, and names inside their own zone", () => {
  for (let seed = 1; seed <= 60; seed += 1) {
    const draw = drawing(seed), valves = [], points = [];
    for (let i = 0; i < 25; i += 1) {
      const left = 1100 * draw() - 100, top = 1100 * draw() - 100, width = 250 * draw(), height = 200 * draw();
      const lean = width * draw();
      valves.push([valve(i + 1, "n".repeat(1 + Math.floor(12 * draw())), `B${i % 5}`), outline([[left + lean, top], [left + width, top + height / 2], [left + lean, top + height], [left, top + height / 3]])]);
      points.push(dot(1000 * draw(), 1000 * draw()));
    }
    const labels = placement({ points, taken: [{ left: 900, top: 0, right: 1000, bottom: 300 }] });
    labels.placeRanks(valves);
    labels.placeNames(valves, []);
    assert.deepEqual(covering([...labels.placed, { box: { left: 900, top: 0, right: 1000, bottom: 300 } }]), []);
    const order = labels.placed.filter(({ kind }) => kind === "rank").map(({ item }) => item.rank);
    assert.deepEqual(order, [...order].sort((a, b) => a - b));
    const shapeOf = new Map(valves);
    for (const { kind, item, box } of labels.placed) {
      assert.equal(contains({ left: 2, top: 2, right: 998, bottom: 998 }, box), true);
      if (kind !== "valve") continue;
      for (const [x, y] of [[box.left, box.top], [box.right, box.top], [box.left, box.bottom], [box.right, box.bottom]]) {
        assert.equal(shapeOf.get(item).spansAt(y).some(([from, to]) => from < x && x < to), true);
      }
    }
  }
});

test("a mark is a smudge when a label touches its inner half", () => {
  assert.equal(isSmudge(dot(50, 50, 8), [{ left: 53, top: 40, right: 90, bottom: 60 }]), true);
  assert.equal(isSmudge(dot(50, 50, 8), [{ left: 54, top: 40, right: 90, bottom: 60 }]), false);
});
