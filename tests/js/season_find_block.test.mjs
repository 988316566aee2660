// Finding a block by what is typed of its name.
import assert from "node:assert/strict";
import test from "node:test";
import { isNamed } from "../../stressmap/output/web/season/find_block.js";

test("a part of the name finds a block, however it is written", () => {
  assert.ok(isNamed("B-012", "b 01"));
  assert.ok(isNamed("Peña Norte", "pena"));
  assert.ok(isNamed("River 4", ""));
  assert.ok(!isNamed("River 4", "5"));
});
