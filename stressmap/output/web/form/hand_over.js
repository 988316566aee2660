// Handing over: by the phone's own sheet, else as files, else as text. Nothing is taken off the phone by it.
import { canPack, showCodes } from "./codes_screen.js";
import { readingsCsv, valveTimesCsv } from "./export_csv.js";
import { app, byId, clockOf, hooks, key, make, now, show, storeAndDraw, tell, today, word, zone } from "./page.js";
import { everything, inBags, versionsOf, waiting } from "./record.js";

const KEPT_MS = 600000;
const shown = { all: false };
const chosen = () => (shown.all ? everything(app.work) : waiting(app.work));
const stamp = () => `${today()}_${clockOf(now()).replace(":", "")}_${app.work.phone || "phone"}`;

export function filesOf({ readings, sets }) {
  const found = [];
  if (readings.length) found.push([`readings_${stamp()}.csv`, readingsCsv(readings, zone(), app.data.ranch.temperature)]);
  if (sets.length) found.push([`valve_times_${stamp()}.csv`, valveTimesCsv(sets, zone())]);
  return found;
}

const asFiles = (texts) => texts.map(([name, text]) => new File([text], name, { type: "text/csv" }));

async function handed(versions, way) {
  shown.all = false;
  await storeAndDraw({ kind: "handed", versions, way });
  show("hand_over");
  tell(word("said.handed", { count: Object.keys(versions).length }));
}

async function share() {
  const due = chosen(), versions = versionsOf(due);
  const files = asFiles(filesOf(due));
  try {
    await navigator.share({ files, title: word("hand.subject", { ranch: app.data.ranch.name }) });
  } catch (error) {
    tell(word(error.name === "AbortError" ? "said.not_handed" : "said.no_share"));
    return;
  }
  await handed(versions, "share");
}

// The files as links to be tapped one by one: phones save only one file a tap.
function download() {
  const due = chosen();
  show("arrived", { versions: versionsOf(due), way: "files", parts: filesOf(due) });
}

function asText() {
  const due = chosen();
  show("arrived", { versions: versionsOf(due), way: "text", parts: filesOf(due) });
}

function link(file) {
  const address = URL.createObjectURL(file);
  window.setTimeout(() => URL.revokeObjectURL(address), KEPT_MS);
  return make("a", { class: "key", href: address, download: file.name, text: word("hand.save_file", { file: file.name }) });
}

function textPart([name, text], place) {
  const id = `export-text-${place}`;
  return make("div", {}, make("label", {}, make("span", { text: name }), make("textarea", { id, rows: "5", readonly: "", text })), key(word("key.copy"), () => copy(text, id), { class: "wide" }));
}

async function copy(text, id) {
  try {
    await navigator.clipboard.writeText(text);
    tell(word("said.copied"));
  } catch {
    byId(id).select();
    tell(word("said.copy_by_hand"));
  }
}

// Only who looks can tell whether a file or a text has arrived.
export function arrivedScreen({ versions, way, parts }) {
  const shownParts = way === "files" ? asFiles(parts).map(link) : parts.map(textPart);
  return make("div", { class: "card" }, make("h2", { text: word(`hand.${way}_title`) }), ...shownParts, make("p", { class: "ask", text: word("hand.arrived") }),
    key(word("key.arrived"), () => handed(versions, way), { class: "main wide", id: "arrived" }), key(word("key.not_yet"), () => show("hand_over"), { class: "wide" }));
}

function asCodes() {
  const due = chosen();
  return showCodes(due, versionsOf(due));
}

const canShare = () => Boolean(navigator.canShare && navigator.canShare({ files: [new File(["a"], "a.csv", { type: "text/csv" })] }));

function lastTime() {
  const last = app.events.filter(({ kind }) => kind === "handed").pop();
  return last ? make("p", { class: "quiet", text: word("hand.last", { clock: clockOf(last.at), count: Object.keys(last.versions).length }) }) : null;
}

export function handOverScreen() {
  const due = chosen(), count = due.readings.length + due.sets.length, bags = inBags(app.work.readings).length;
  const keys = canShare() ? [key(word("key.share"), share, { class: "main wide", id: "share" }), key(word("key.files"), download, { class: "wide", id: "files" })] : [key(word("key.files"), download, { class: "main wide", id: "files" })];
  const ways = count ? [...keys, ...(canPack() ? [key(word("key.codes"), asCodes, { class: "wide", id: "codes" })] : []), key(word("key.text"), asText, { class: "wide", id: "text" })] : [];
  const again = shown.all || (!everything(app.work).readings.length && !everything(app.work).sets.length) ? null : key(word("key.everything"), () => { shown.all = true; hooks.draw(); }, { class: "wide", id: "everything" });
  return make("div", {}, make("section", { class: "card" }, make("h2", { text: word(shown.all ? "hand.all_title" : "hand.title") }),
    make("p", { class: "figure small", text: String(count) }), make("p", { text: word("hand.counts", { readings: due.readings.length, sets: due.sets.length }) }),
    bags ? make("p", { class: "warn", text: word("hand.in_bags", { count: bags }) }) : null, ...ways, lastTime(), again),
  make("section", { class: "card" }, make("h2", { text: word("hand.kept_title") }), make("p", { text: word(app.kept ? "hand.kept" : "hand.may_go") }), make("p", { text: word("hand.stays") })),
  make("section", { class: "card" }, make("h2", { text: word("caution.title") }), make("ul", { class: "caution" }, ...["chamber", "heat", "pumps", "advice"].map((name) => make("li", { text: word(`caution.${name}`) })))));
}
