// The two tables that leave the phone: readings and valve times. The same entries give the same bytes.
import { written } from "./clock.js";
import { setTells, tells } from "./record.js";

export const READINGS = [
  "reading_id", "version", "withdrawn", "tree_id", "time", "bagged_at", "pressure", "recheck", "unit", "lon", "lat",
  "gps_accuracy_m", "block", "valve", "temp", "rh_pct", "chamber", "crew", "stop", "trouble", "note",
];
export const VALVE_TIMES = [
  "entry_id", "version", "withdrawn", "code", "valve", "block", "planned_start", "planned_end", "start", "end", "trouble", "note",
];

// What a spreadsheet would take for a formula gets an apostrophe, as in every table of this program.
const FORMULA = /^[\s\u200b-\u200f\u2060\ufeff]*[=+\-@\u2212\u2010\u2011\uff0b\uff0d\uff1d\uff20\ufe62\ufe63\ufe66\ufe6b]/;
// Control characters and line ends; a cell is one line.
const BREAKS = new RegExp("[\\u0000-\\u001f\\u007f-\\u009f\\u2028\\u2029]+", "g");
const AFTER_SEPARATOR = /([;,|]\s*)([=@\uff1d\uff20\ufe66\ufe6b])/g;

export function cell(value) {
  if (value === null || value === undefined) return "";
  if (typeof value !== "string") return String(value);
  const line = value.replace(BREAKS, " ").trim().replace(AFTER_SEPARATOR, "$1'$2");
  const safe = FORMULA.test(line) ? `'${line}` : line;
  return /[",;]|^\s|\s$/.test(safe) ? `"${safe.replace(/"/g, '""')}"` : safe;
}

const rounded = (number, digits) => (number === null || number === undefined ? null : Number(number.toFixed(digits)));
const table = (columns, rows) => [columns, ...rows].map((row) => `${row.map(cell).join(",")}\n`).join("");
const inOrder = (things, moment) => [...things].sort((a, b) => moment(a) - moment(b) || (a.id < b.id ? -1 : 1));

// The heading names the unit where all rows share it.
function headings(columns, rows, temperature) {
  const units = [...new Set(rows.map(({ unit }) => unit).filter(Boolean))];
  const own = { temp: temperature === "F" ? "temp_f" : "temp_c" };
  if (units.length === 1) {
    own.pressure = `pressure_${units[0].toLowerCase()}`;
    own.recheck = `recheck_${units[0].toLowerCase()}`;
  }
  return columns.map((name) => own[name] || name);
}

// What no longer says anything is taken back as well.
export function readingsCsv(readings, zone, temperature = "C") {
  const time = (moment) => (moment === null ? null : written(moment, zone));
  const rows = inOrder(readings, ({ bagAt }) => bagAt).map((one) => {
    const place = one.place || {};
    return [
      one.id, one.version, one.withdrawn || !tells(one), one.tree.tree_id, time(one.readAt), time(one.bagAt), one.pressure, one.recheck,
      one.unit, rounded(place.lon, 7), rounded(place.lat, 7), rounded(place.accuracy, 1), one.tree.block, one.tree.valve,
      one.temp, one.rh, one.chamber, one.crew, one.stop, one.trouble.join(";"), one.note,
    ];
  });
  return table(headings(READINGS, readings, temperature), rows);
}

export function valveTimesCsv(sets, zone) {
  const time = (moment) => (moment === null || moment === undefined ? null : written(moment, zone));
  const first = ({ plannedStart, start, end }) => [plannedStart, start, end].find((moment) => moment !== null && moment !== undefined) || 0;
  const rows = inOrder(sets, first).map((one) => [
    one.id, one.version, one.withdrawn || !setTells(one), one.code, one.valve, one.block, time(one.plannedStart), time(one.plannedEnd),
    time(one.start), time(one.end), one.trouble.join(";"), one.note,
  ]);
  return table(VALVE_TIMES, rows);
}
