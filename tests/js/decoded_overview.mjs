// Prints what the overview's page reads from the text that it gets on standard input: { vlq, fixed, names, outlines }.
import { readFileSync } from "node:fs";
import { fixedOf, namesOf, numbersOf, ringsOf } from "../../stressmap/output/web/overview/coding.js";

const { vlq, fixed, names, outlines } = JSON.parse(readFileSync(0, "utf8"));
process.stdout.write(JSON.stringify({ vlq: numbersOf(vlq), fixed: fixedOf(fixed), names: namesOf(names), outlines: ringsOf(outlines).map((rings) => rings.map((ring) => [...ring])) }));
