// One reading: the bag's time, the end point on big keys, a second one, what else was seen.
import { atRead, ofPressure, ofRecheck } from "./checks.js";
import { day, momentOf } from "./clock.js";
import { app, asTyped, byId, clockOf, key, make, named, now, ofGauge, show, steadied, store, storeAndDraw, tell, toBar, word, zone } from "./page.js";
import { ERASE, POINT, pressed, value } from "./pad.js";
import { betterPlace } from "./places.js";
import { bagOn, countdownOf, freshFix } from "./trees.js";
import { warnings } from "./warned.js";

const KEYS = ["1", "2", "3", "4", "5", "6", "7", "8", "9", POINT, "0", ERASE];
const TROUBLES = ["leak", "dry_emitter", "sick_tree"];
const found = (id) => app.work.readings.find((one) => one.id === id);

function pad(draw) {
  const symbol = (name) => (name === POINT ? word("locale.decimal") : name === ERASE ? "\u232b" : name);
  const press = (name) => { app.screen.text = pressed(app.screen.text || "", name, app.data.rules.decimals); draw(); };
  const one = (name) => key(symbol(name), () => press(name), { "aria-label": name === ERASE ? word("key.erase") : name === POINT ? word("key.point") : null, "data-key": name });
  return make("div", { id: "pad", role: "group", "aria-label": word("read.pad") }, ...KEYS.map(one));
}

async function saveFirst(reading, pressure) {
  const place = betterPlace(freshFix(), reading.place, reading.tree);
  const corrected = reading.pressure !== null;
  const event = { kind: "read", reading: reading.id, pressure, unit: app.data.rules.unit, place: corrected ? null : place };
  if (!(await store(event))) return;
  const doubts = ofPressure(toBar(pressure), reading.tree, app.data.rules);
  if (doubts.length) {
    show("doubt", { reading: reading.id, doubts });
    return;
  }
  done(found(reading.id), corrected ? { kind: "read", reading: reading.id, pressure: reading.pressure, unit: reading.unit, place: null } : { kind: "unread", reading: reading.id });
}

async function saveSecond(reading, recheck) {
  if (!(await store({ kind: "recheck", reading: reading.id, recheck }))) return;
  const doubts = ofRecheck(toBar(reading.pressure), toBar(recheck), app.data.rules);
  if (doubts.length) show("doubt", { reading: reading.id, doubts, second: true });
  else done(found(reading.id), { kind: "recheck", reading: reading.id, recheck: reading.recheck });
}

function done(reading, back) {
  show("trees");
  tell(word("said.read", { tree: reading.tree.tree_id, figure: ofGauge(toBar(reading.pressure)) }), () => storeAndDraw(back));
}

// Said after it was stored, so that nothing is lost whatever is answered.
export function doubtScreen({ reading, doubts, second }) {
  const one = found(reading), shown = second ? one.recheck : one.pressure;
  return make("div", { class: "card" }, make("h2", {}, named(one.tree.tree_id)), make("p", { class: "figure", text: ofGauge(toBar(shown)) }), warnings(doubts),
    key(word("key.read_again"), () => show("reading", { reading, second: Boolean(second) }), { class: "main wide", id: "read-again" }),
    key(word("key.keep"), () => show("trees"), { class: "wide", id: "keep" }));
}

function typed(reading) {
  const text = app.screen.text || "", stored = app.screen.second ? reading.recheck : reading.pressure;
  const figure = text ? asTyped(text) : stored === null ? "\u2013" : asTyped(String(stored));
  return [make("output", { class: text ? "figure" : "figure pale", "aria-live": "polite", text: figure }), make("span", { class: "unit", text: app.data.rules.unit })];
}

function firstOrSecond(reading) {
  if (reading.pressure === null) return null;
  const one = (second, text) => key(text, () => show("reading", { reading: reading.id, second }), { "aria-pressed": String(Boolean(app.screen.second) === second) });
  return make("div", { class: "choice", role: "group", "aria-label": word("read.which") }, one(false, word("read.first")), one(true, word("read.second")));
}

export function bagLine(reading) {
  if (reading.readAt !== null) return make("p", { class: "quiet", text: word("read.was", { bag: clockOf(reading.bagAt), read: clockOf(reading.readAt) }) });
  return make("p", { class: "bag-line" }, make("span", { text: word("bag.since", { clock: clockOf(reading.bagAt) }) }), make("strong", { "data-bag": reading.id, text: countdownOf(reading) }));
}

const doubtsOf = (reading) => (reading.readAt === null ? atRead({ bagAt: reading.bagAt, now: now(), rules: app.data.rules, zone: zone() }) : []);

function doubtsBox(reading) {
  const doubts = doubtsOf(reading), box = warnings(doubts);
  box.id = "doubts";
  box.dataset.codes = doubts.map(({ code }) => code).join(" ");
  return box;
}

// A warning goes when its reason goes: a bag gets ready, the window opens.
export function renewDoubts() {
  const box = byId("doubts"), reading = box && found(app.screen.reading);
  if (!reading) return;
  const renewed = doubtsBox(reading);
  if (renewed.dataset.codes !== box.dataset.codes) box.replaceWith(renewed);
}

export function readingScreen({ reading: id, second }) {
  const reading = found(id);
  const shown = make("div", { class: "typed" }), save = key(word("key.save"), steadied(() => press()), { class: "main wide", id: "save" });
  const draw = () => { shown.replaceChildren(...typed(reading)); save.disabled = value(app.screen.text || "") === null; };
  const press = () => (second ? saveSecond(reading, value(app.screen.text)) : saveFirst(reading, value(app.screen.text)));
  draw();
  const off = reading.withdrawn ? key(word("key.restore"), () => storeAndDraw({ kind: "restore", reading: id })) : key(word("key.withdraw"), steadied(() => withdraw(reading)), { id: "withdraw" });
  return make("div", { class: "reading" }, make("div", { class: "title" }, key("\u2190", () => show("trees"), { "aria-label": word("key.back"), id: "back" }), make("h2", {}, named(reading.tree.tree_id)), bagLine(reading)),
    reading.withdrawn ? make("p", { class: "warn", text: word("read.withdrawn") }) : doubtsBox(reading), firstOrSecond(reading), shown, pad(draw), save,
    make("div", { class: "two" }, key(word("key.note"), () => show("note", { reading: id }), { id: "note" }), off),
    reading.readAt === null ? null : key(word("key.bag_again"), steadied(() => bagOn(reading.tree)), { class: "wide", id: "bag-again" }));
}

async function withdraw(reading) {
  if (!(await store({ kind: "withdraw", reading: reading.id }))) return;
  show("trees");
  tell(word("said.withdrawn", { tree: reading.tree.tree_id }), () => storeAndDraw({ kind: "restore", reading: reading.id }));
}

// Figures as people type them, with a comma or a point; what is no number is left out.
const figureIn = (id) => {
  const text = byId(id).value.trim().replace(",", "."), figure = Number(text);
  return text === "" || !Number.isFinite(figure) ? null : figure;
};

export function troubleKeys(names, chosen, single = false) {
  const press = ({ currentTarget }) => {
    const on = currentTarget.getAttribute("aria-pressed") !== "true";
    if (single) for (const other of byId("troubles").children) other.setAttribute("aria-pressed", "false");
    currentTarget.setAttribute("aria-pressed", String(on));
  };
  const one = (name) => key(word(`trouble.${name}`), press, { "data-trouble": name, "aria-pressed": String(chosen.includes(name)) });
  return make("div", { class: "choice", id: "troubles", role: "group", "aria-label": word("trouble.title") }, ...names.map(one));
}

export const troublesChosen = () => [...document.querySelectorAll("#troubles [aria-pressed=true]")].map((one) => one.dataset.trouble);

// A clock that was typed, on the day it had; one that nobody touched keeps its seconds.
function clockIn(id, before) {
  const text = byId(id) ? byId(id).value : "";
  return !text || clockOf(before) === text ? before : momentOf(day(before, zone()), text, zone());
}

async function saveNote(reading) {
  const details = { kind: "details", reading: reading.id, note: byId("note-text").value.trim(), trouble: troublesChosen(), temp: figureIn("temp"), rh: figureIn("rh") };
  const events = [details], bag = clockIn("bag-clock", reading.bagAt), read = clockIn("read-clock", reading.readAt);
  if (bag !== reading.bagAt) events.push({ kind: "bagged", reading: reading.id, time: bag });
  if (read !== reading.readAt) events.push({ kind: "timed", reading: reading.id, time: read });
  if (await store(...events)) show("reading", { reading: reading.id });
}

export function noteScreen({ reading: id }) {
  const reading = found(id), degrees = app.data.ranch.temperature;
  const field = (name, label, input) => make("label", {}, make("span", { text: label }), make("input", { id: name, autocomplete: "off", ...input }));
  const shown = (figure) => (figure === null ? "" : String(figure));
  return make("div", { class: "card" }, make("h2", {}, named(reading.tree.tree_id)), troubleKeys(TROUBLES, reading.trouble),
    make("label", {}, make("span", { text: word("read.note") }), make("textarea", { id: "note-text", rows: "3", maxlength: "500", text: reading.note })),
    make("div", { class: "two" }, field("temp", word("read.temp", { unit: degrees }), { inputmode: "decimal", value: shown(reading.temp) }), field("rh", word("read.rh"), { inputmode: "decimal", value: shown(reading.rh) })),
    make("div", { class: "two" }, field("bag-clock", word("read.bag_clock"), { type: "time", value: clockOf(reading.bagAt) }),
      reading.readAt === null ? null : field("read-clock", word("read.read_clock"), { type: "time", value: clockOf(reading.readAt) })),
    key(word("key.save"), steadied(() => saveNote(reading)), { class: "main wide", id: "save-note" }), key(word("key.back"), () => show("reading", { reading: id }), { class: "wide" }));
}

