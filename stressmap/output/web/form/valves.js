// Valve times: what was planned by the clock, what was really opened and closed.
import { day, momentOf } from "./clock.js";
import { randomId } from "./log.js";
import { app, byId, clockOf, dayText, hooks, key, make, named, now, show, steadied, store, storeAndDraw, tell, word, zone } from "./page.js";
import { troubleKeys, troublesChosen } from "./reading.js";
import { byName } from "./words.js";

// As the sheet of valve times lists them; a set has one.
export const TROUBLES = ["leak", "broken_line", "clogged", "low_pressure", "does_not_open", "does_not_close", "not_opened", "other"];
const DAY_MS = 86400000;
const shown = { all: false };
const entries = () => app.work.sets.filter((one) => !one.withdrawn);
const entryOf = (set) => entries().find((one) => one.valve === set.valve && one.plannedStart === set.plannedStart) || null;

// What was stored of a planned set, or the set itself with nothing done yet.
function rowsOfSets() {
  const planned = app.data.sets.map((set) => entryOf(set) || { ...set, id: null, start: null, end: null, trouble: [], note: "" });
  const others = entries().filter((one) => !planned.includes(one));
  const first = ({ plannedStart, start }) => (plannedStart === null ? start || 0 : plannedStart);
  return [...planned, ...others].sort((a, b) => first(a) - first(b) || byName(a.valve, b.valve));
}

const near = (set) => {
  const at = set.plannedStart === null ? set.start : set.plannedStart;
  const open = set.start !== null && set.end === null;
  return open || at === null || ((set.plannedEnd || at) > now() - DAY_MS && at < now() + DAY_MS);
};

function begun(set) {
  const entry = set.id || randomId();
  const { code, valve, block, plannedStart, plannedEnd } = set;
  const events = set.id ? [] : [{ kind: "set", entry, code, valve, block, plannedStart, plannedEnd }];
  return { entry, events };
}

async function mark(set, kind) {
  const { entry, events } = begun(set), before = kind === "opened" ? set.start : set.end;
  if (!(await store(...events, { kind, entry, time: now() }))) return;
  if (app.screen.name === "valves") hooks.draw();
  else show("valves");
  const undo = () => storeAndDraw({ kind, entry, time: before });
  tell(word(`said.${kind}`, { valve: set.valve, clock: clockOf(now()) }), undo);
}

async function openCard(set) {
  if (set.id) {
    show("set", { entry: set.id });
    return;
  }
  const { entry, events } = begun(set);
  if (await store(...events)) show("set", { entry });
}

function times(set) {
  const planned = set.plannedStart === null ? word("valve.not_planned") : word("valve.planned", { from: clockOf(set.plannedStart), to: clockOf(set.plannedEnd) });
  const done = set.start === null ? null : word(set.end === null ? "valve.open_since" : "valve.ran", { from: clockOf(set.start), to: set.end === null ? "" : clockOf(set.end) });
  return [planned, done].filter(Boolean).join(" · ");
}

function row(set) {
  const state = set.start === null ? "" : set.end === null ? "running" : "done";
  const open = make("button", { type: "button", class: "who", on: { click: () => openCard(set) } },
    make("b", {}, named(set.valve), set.code ? make("span", { class: "code", text: set.code }) : null), make("small", { text: [set.block, times(set)].filter(Boolean).join(" · ") }),
    set.trouble.length ? make("small", { class: "trouble", text: set.trouble.map((name) => word(`trouble.${name}`)).join(", ") }) : null);
  const act = state === "done" ? null : key(word(state ? "key.closed" : "key.opened"), steadied(() => mark(set, state ? "closed" : "opened")), { class: "main", "aria-label": word(state ? "key.closed_valve" : "key.opened_valve", { valve: set.valve }) });
  return make("li", { class: state }, open, act);
}

function days(sets) {
  const groups = new Map();
  for (const set of sets) {
    const at = set.plannedStart === null ? set.start : set.plannedStart, name = at === null ? "" : day(at, zone());
    groups.set(name, [...(groups.get(name) || []), set]);
  }
  const one = ([name, own]) => make("section", {}, make("h2", { text: name ? dayText(name) : word("valve.no_time") }), make("ul", { class: "rows" }, ...own.map(row)));
  return [...groups].map(one);
}

export function valvesScreen() {
  const all = rowsOfSets(), some = shown.all ? all : all.filter(near);
  const more = all.length > some.length ? key(word("valve.all_days", { count: all.length - some.length }), () => { shown.all = true; hooks.draw(); }, { class: "wide" }) : null;
  const nothing = all.length ? null : make("p", { class: "quiet", text: word("valve.none") });
  return make("div", {}, make("p", { class: "caution", text: word("caution.pumps") }), key(word("key.other_set"), () => show("new_set"), { class: "wide", id: "other-set" }), nothing, ...days(some), more);
}

export function newSetScreen() {
  const add = async (valve) => {
    const set = { id: null, code: "", valve: valve.name, block: valve.block, plannedStart: null, plannedEnd: null, start: null, end: null };
    await mark(set, "opened");
  };
  const rows = [...app.data.valves].sort((a, b) => byName(a.name, b.name)).map((valve) => make("li", {}, make("div", { class: "who" }, make("b", {}, named(valve.name)), make("small", { text: valve.block || "" })),
    key(word("key.opened"), steadied(() => add(valve)), { class: "main", "aria-label": word("key.opened_valve", { valve: valve.name }) })));
  return make("div", {}, make("h2", { text: word("valve.which") }), make("ul", { class: "rows" }, ...rows), key(word("key.back"), () => show("valves"), { class: "wide" }));
}

// Day and clock as two fields: on phones each has keys of its own.
function timeFields(name, label, at, otherwise) {
  const shownAt = at === null ? otherwise : at;
  return make("fieldset", { class: "two" }, make("legend", { text: label }),
    make("input", { id: `${name}-day`, type: "date", value: day(shownAt, zone()), "aria-label": word("valve.day") }),
    make("input", { id: `${name}-clock`, type: "time", value: at === null ? "" : clockOf(at), "aria-label": label }));
}

// A moment that nobody touched keeps its seconds.
function timeIn(name, before) {
  const date = byId(`${name}-day`).value, text = byId(`${name}-clock`).value;
  if (!text || !date) return null;
  const same = before !== null && day(before, zone()) === date && clockOf(before) === text;
  return same ? before : momentOf(date, text, zone());
}

async function saveSet(set) {
  const start = timeIn("start", set.start), end = timeIn("end", set.end);
  const note = byId("note-text").value.trim(), seen = troublesChosen();
  // A note alone says that something was the matter.
  const trouble = note && !seen.length && start === null && end === null ? ["other"] : seen;
  const events = [{ kind: "set_details", entry: set.id, trouble, note }];
  if (start !== set.start) events.push({ kind: "opened", entry: set.id, time: start });
  if (end !== set.end) events.push({ kind: "closed", entry: set.id, time: end });
  if (!(await store(...events))) return;
  show("valves");
  if (start !== null && end !== null && end <= start) tell(word("warn.ends_before"));
}

async function withdrawSet(set) {
  if (!(await store({ kind: "withdraw", entry: set.id }))) return;
  show("valves");
  tell(word("said.withdrawn", { tree: set.valve }), () => storeAndDraw({ kind: "restore", entry: set.id }));
}

export function setScreen({ entry }) {
  const set = app.work.sets.find((one) => one.id === entry), otherwise = set.plannedStart === null ? now() : set.plannedStart;
  return make("div", { class: "card" }, make("h2", {}, named(set.valve), set.code ? make("span", { class: "code", text: set.code }) : null), make("p", { class: "quiet", text: [set.block, times(set)].filter(Boolean).join(" · ") }),
    timeFields("start", word("valve.opened"), set.start, otherwise), timeFields("end", word("valve.closed"), set.end, set.plannedEnd || otherwise),
    troubleKeys(TROUBLES, set.trouble, true), make("label", {}, make("span", { text: word("read.note") }), make("textarea", { id: "note-text", rows: "2", maxlength: "500", text: set.note })),
    key(word("key.save"), steadied(() => saveSet(set)), { class: "main wide", id: "save-set" }),
    make("div", { class: "two" }, key(word("key.back"), () => show("valves")), key(word("key.withdraw"), () => withdrawSet(set))));
}
