// Prints what a form exports of a day's readings and sets, as the page puts them together from its events.
import { readingsCsv, valveTimesCsv } from "../../stressmap/output/web/form/export_csv.js";
import { fold, waiting } from "../../stressmap/output/web/form/record.js";

const { zone, events } = JSON.parse(process.argv[2]);
const { readings, sets } = waiting(fold(events, zone));
process.stdout.write(JSON.stringify({ readings: readingsCsv(readings, zone), sets: valveTimesCsv(sets, zone) }));
