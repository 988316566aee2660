// Prints what two phones hand over after a day: tables, and the code of the first one's readings.
import { contents } from "../../stressmap/output/web/form/codes.js";
import { readingsCsv, valveTimesCsv } from "../../stressmap/output/web/form/export_csv.js";
import { qrCode } from "../../stressmap/output/web/form/qr.js";
import { fold, waiting } from "../../stressmap/output/web/form/record.js";

const ZONE = "America/Los_Angeles", NOON = Date.UTC(2026, 6, 21, 20, 10);
const [lon, lat] = process.argv.slice(2).map(Number);

function phone(name, pressure) {
  const reading = `${name}0000000-0000-4000-8000-00000000000${name}`, tree = { key: name, tree_id: `P${name}`, block: "North Shed", valve: "N1" };
  return [
    { kind: "bag", reading, at: NOON, tree, place: { lon, lat, accuracy: 4 }, stop: null, crew: `Crew ${name}`, chamber: "K1" },
    { kind: "read", reading, at: NOON + 720000, pressure, unit: "bar", place: null },
  ];
}

const SET = [
  { kind: "set", entry: "30000000-0000-4000-8000-000000000003", code: "", valve: "N1", block: "North Shed", plannedStart: null, plannedEnd: null },
  { kind: "opened", entry: "30000000-0000-4000-8000-000000000003", time: NOON },
  { kind: "closed", entry: "30000000-0000-4000-8000-000000000003", time: NOON + 8 * 3600000 },
];
const first = waiting(fold([...phone("1", 14.5), ...SET], ZONE)), second = waiting(fold(phone("2", 12), ZONE));
const [code] = await contents({ readings: first.readings, sets: [] }, ZONE, "F");
process.stdout.write(JSON.stringify({
  first: readingsCsv(first.readings, ZONE, "F"), second: readingsCsv(second.readings, ZONE, "F"), valves: valveTimesCsv(first.sets, ZONE),
  code: qrCode(code).map((row) => row.map(Number)),
}));
