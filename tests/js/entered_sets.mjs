// Prints what a form exports of sets that were entered, as the page puts them together from its events.
import { valveTimesCsv } from "../../stressmap/output/web/form/export_csv.js";
import { fold } from "../../stressmap/output/web/form/record.js";

const { zone, events } = JSON.parse(process.argv[2]);
process.stdout.write(valveTimesCsv(fold(events, zone).sets, zone));
