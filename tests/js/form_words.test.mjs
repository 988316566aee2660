import assert from "node:assert/strict";
import { test } from "node:test";

import { byName, filled, folded, numberText } from "../../stressmap/output/web/form/words.js";

test("texts are filled in, one of a thing in the singular", () => {
  const text = "{count:1 reading|{count} readings} of {who}";
  assert.deepEqual([filled(text, { count: 1, who: "Ana" }), filled(text, { count: 2, who: "Ana" })], ["1 reading of Ana", "2 readings of Ana"]);
  assert.equal(filled("{who} {missing}", { who: "{count}" }), "{count} {missing}");
});

test("numbers carry the language's decimal sign and a true minus", () => {
  assert.deepEqual([numberText(13.25, 1, "."), numberText(-0.5, 1, ","), numberText(-0.01, 1, ".")], ["13.3", "\u22120,5", "0.0"]);
});

test("names stand in the order people count, and are found without accents", () => {
  assert.deepEqual(["T10", "t2", "T1", "Z", "T"].sort(byName), ["T", "T1", "t2", "T10", "Z"]);
  assert.equal(folded(" Pe\u00f1a "), "pena");
});
