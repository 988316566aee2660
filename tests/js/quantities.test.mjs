import assert from "node:assert/strict";
import { test } from "node:test";

import { filled, halfUp, hoursAndMinutes, inside, numberText, quantityText } from "../../stressmap/output/web/map/quantities.js";

const ENGLISH = { decimal: ".", thousands: "," }, CONTINENTAL = { decimal: ",", thousands: "." };
// An acre-foot is 43,560 cubic feet of 0.3048 m, a US gallon 231 cubic inches of 25.4 mm (NIST SP 811, appendix B).
const US = { scales: { volume: [[123.3, "acre-ft", 1233.48183754752, 2], [0, "gal", 0.003785411784, 0]], chance: [[0, "%", 0.01, 0]] }, parts: ["chance"] };

test("halves go up, as they are written in decimals", () => {
  assert.deepEqual([halfUp(2.5, 0), halfUp(0.5, 0), halfUp(2.25, 1), halfUp(1.005, 2), halfUp(2.15, 1)], ["3", "1", "2.3", "1.01", "2.2"]);
  assert.deepEqual([halfUp(2.449, 1), halfUp(0, 2), halfUp(1e-9, 1), halfUp(0.04, 1), halfUp(9.96, 1)], ["2.4", "0.00", "0.0", "0.0", "10.0"]);
});

test("thousands are parted, decimals kept, and a minus is a minus sign", () => {
  assert.equal(numberText(1234567.891, 2, ENGLISH), "1,234,567.89");
  assert.equal(numberText(1234567.891, 2, CONTINENTAL), "1.234.567,89");
  assert.equal(numberText(999, 0, ENGLISH), "999");
  assert.equal(numberText(-1000, 0, ENGLISH), "\u22121,000");
});

test("what rounds to nothing has no sign", () => {
  assert.equal(numberText(-0.04, 1, ENGLISH), "0.0");
  assert.equal(numberText(-0.05, 1, ENGLISH), "\u22120.1");
});

test("a part is never nothing or all unless it is", () => {
  assert.deepEqual([0, 0.01, 0.4, 50, 99.6, 99.999, 100].map((percent) => inside(percent, 0)), [0, 1, 1, 50, 99, 99, 100]);
  assert.deepEqual([0.01, 99.96, 100].map((percent) => inside(percent, 1)), [0.1, 99.9, 100]);
});

test("the unit goes by size", () => {
  assert.deepEqual(quantityText(12000, "volume", US, ENGLISH), { number: "9.73", unit: "acre-ft" });
  assert.deepEqual(quantityText(100, "volume", US, ENGLISH), { number: "26,417", unit: "gal" });
  assert.deepEqual(quantityText(0, "volume", US, ENGLISH), { number: "0", unit: "gal" });
  assert.deepEqual(quantityText(0.999, "chance", US, ENGLISH), { number: "99", unit: "%", bound: "over" });
  assert.deepEqual(quantityText(7e-32, "chance", US, ENGLISH), { number: "1", unit: "%", bound: "under" });
  assert.deepEqual(quantityText(0.994, "chance", US, ENGLISH), { number: "99", unit: "%" });
});

test("one of a thing is told as one, whether its count comes as a number or written", () => {
  const text = "{used:1 tree|{used} trees} of {all}, {left:1 left|{left} left}";
  assert.equal(filled(text, { used: 1, all: 2, left: "1" }), "1 tree of 2, 1 left");
  assert.equal(filled(text, { used: "1,001", all: 2, left: 0 }), "1,001 trees of 2, 0 left");
  assert.equal(filled("{a} and {b}", { a: "{b}" }), "{b} and ");
});

test("hours are told to the minute, and sixty minutes are an hour", () => {
  assert.deepEqual(hoursAndMinutes(10.5), { hours: 10, minutes: "30" });
  assert.deepEqual(hoursAndMinutes(8.9999), { hours: 9, minutes: "00" });
  assert.deepEqual(hoursAndMinutes(0.05), { hours: 0, minutes: "03" });
  assert.deepEqual(hoursAndMinutes(0), { hours: 0, minutes: "00" });
});
