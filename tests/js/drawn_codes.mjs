// Prints the QR codes of twenty readings and a set, with what is in them, and codes of chosen versions; Python reads them.
import { contents } from "../../stressmap/output/web/form/codes.js";
import { readingsCsv, valveTimesCsv } from "../../stressmap/output/web/form/export_csv.js";
import { capacity, MOST_VERSION, qrCode } from "../../stressmap/output/web/form/qr.js";

const ZONE = "America/Los_Angeles", NOON = Date.UTC(2026, 6, 14, 20, 0);
const rows = (bytes) => qrCode(bytes).map((row) => row.map(Number));

// Digits without a pattern, as those of a random id; the same every time.
let state = 20260714;
function digits(count) {
  return [...Array(count)].map(() => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return (state >>> 28).toString(16);
  }).join("");
}

const reading = (_, i) => ({
  id: `${digits(8)}-${digits(4)}-4${digits(3)}-8${digits(3)}-${digits(12)}`, version: 2, withdrawn: false,
  tree: { tree_id: `CR-${10 + i}-${(i * 37) % 80}`, block: "Creek", valve: `V0${i % 9}` },
  bagAt: NOON + i * 61234, readAt: NOON + i * 61234 + 700000, pressure: 11 + ((i * 7) % 50) / 10, recheck: i % 5 ? null : 12, unit: "bar",
  place: { lon: -120.6 - i * 0.0007123, lat: 37.01 + i * 0.0003917, accuracy: 4 + (i % 3) }, temp: null, rh: null,
  chamber: "K1", crew: "Ana", stop: String(i + 1), trouble: i === 3 ? ["leak"] : [], note: i === 4 ? "\u00e1rbol \u201cseco\u201d" : "",
});

async function twenty() {
  const readings = [...Array(20)].map(reading);
  const set = { id: "s", version: 1, withdrawn: false, code: "K3T7P", valve: "V01", block: "Creek", plannedStart: NOON, plannedEnd: NOON, start: NOON, end: null, trouble: [], note: "" };
  const codes = await contents({ readings, sets: [set] }, ZONE, "F");
  return { codes: codes.map(rows), readings: readingsCsv(readings, ZONE, "F"), valves: valveTimesCsv([set], ZONE) };
}

function versions(tried) {
  const one = (version) => {
    const bytes = [...Array(capacity(version))].map((_, i) => (i * 73 + version * 31) & 255);
    return { bytes, rows: rows(bytes) };
  };
  return { tried: tried.map(one), none: qrCode(Array(capacity(MOST_VERSION) + 1).fill(65)) };
}

const asked = process.argv.slice(2).map(Number);
process.stdout.write(JSON.stringify(asked.length ? versions(asked) : await twenty()));
