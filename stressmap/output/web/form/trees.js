// The list of trees: what is in bags, what comes next, who measures.
import { bagged, countdown } from "./clock.js";
import { atBag } from "./checks.js";
import { randomId } from "./log.js";
import { app, clockOf, cropName, dayEntry, dayText, hooks, key, lengthText, make, named, now, ofGauge, show, steadied, store, storeAndDraw, tell, today, word } from "./page.js";
import { byDistance, placeOf, whereIs } from "./places.js";
import { inBags } from "./record.js";
import { warningText } from "./warned.js";
import { byName, folded } from "./words.js";

const FRESH_MS = 90000; // An older position is of another tree.
const AT_ONCE = 25;
const CREW = "stressmap-form crew";
const shown = { query: "", crew: window.localStorage.getItem(CREW), most: AT_ONCE };

export const freshFix = () => (app.fix && now() - app.fix.at < FRESH_MS ? app.fix : null);

export const allTrees = () => [...app.data.trees, ...app.work.trees];

export async function bagOn(tree, more = {}) {
  const reading = randomId(), entry = dayEntry() || {};
  const place = placeOf(freshFix(), tree);
  const own = { key: tree.key, tree_id: tree.tree_id, block: tree.block, valve: tree.valve, lon: tree.lon, lat: tree.lat };
  for (const name of ["expected", "low", "high", "last"]) own[name] = tree[name] === undefined ? null : tree[name];
  const found = atBag({ tree, fix: freshFix(), readings: app.work.readings, today: today() });
  const event = { kind: "bag", reading, tree: own, place, stop: tree.stop === undefined ? null : tree.stop, crew: entry.crew || "", chamber: entry.chamber || "", ...more };
  if (!(await store(event))) return null;
  show("trees");
  const undo = () => storeAndDraw({ kind: "withdraw", reading });
  tell([word("said.bagged", { tree: tree.tree_id, clock: clockOf(now()) }), ...found.map(warningText)].join(" "), undo);
  return reading;
}

// The countdown in a key is written anew every second; see tick() in main.js.
export function countdownOf(reading) {
  const { left, ready, wrongClock } = bagged(reading.bagAt, now(), app.data.rules.bagMinutes);
  if (wrongClock) return word("warn.clock_moved");
  return ready ? word("bag.ready") : countdown(left);
}

function bagRow(reading) {
  const { ready } = bagged(reading.bagAt, now(), app.data.rules.bagMinutes);
  const time = make("strong", { class: "left", "data-bag": reading.id, text: countdownOf(reading) });
  return make("li", { class: ready ? "bag ready" : "bag" },
    make("div", { class: "who" }, make("b", {}, named(reading.tree.tree_id)), make("small", { text: word("bag.since", { clock: clockOf(reading.bagAt) }) }), time),
    key(word("key.read"), () => show("reading", { reading: reading.id }), { class: "main", "aria-label": word("key.read_tree", { tree: reading.tree.tree_id }) }));
}

function under(tree, away) {
  const parts = [tree.block, tree.row ? word("tree.row", { row: tree.row }) : null];
  if (tree.bagClock) parts.push(word("tree.times", { bag: tree.bagClock, read: tree.readClock || "" }));
  else if (tree.last !== null && tree.last !== undefined) parts.push(word("tree.last", { figure: ofGauge(tree.last) }));
  if (away !== null && away < 2000) parts.push(word("tree.away", { length: lengthText(away) }));
  return parts.filter(Boolean).join(" · ");
}

function treeRow({ tree, away }) {
  const stop = tree.stop === undefined || tree.stop === null ? null : make("span", { class: "stop", text: tree.stop });
  const open = make("button", { type: "button", class: "who", on: { click: () => show("tree", { tree }) } },
    make("b", {}, stop, named(tree.tree_id)), make("small", { text: under(tree, away) }));
  return make("li", {}, open, key(word("key.bag"), steadied(() => bagOn(tree)), { class: "main", "aria-label": word("key.bag_tree", { tree: tree.tree_id }) }));
}

const touched = () => new Set(app.work.readings.filter((one) => one.day === today() && !one.withdrawn).map((one) => one.tree.key));

function candidates() {
  const done = touched(), query = folded(shown.query), crew = shown.crew;
  // Who looks for a tree may read it once more; the list itself offers only those left.
  if (query) return allTrees().filter((tree) => folded(`${tree.tree_id} ${tree.block || ""} ${tree.valve || ""}`).includes(query)).sort((a, b) => byName(a.tree_id, b.tree_id));
  const open = allTrees().filter((tree) => !done.has(tree.key)), stops = open.filter((tree) => tree.stop !== undefined && tree.stop !== null && (crew === null || tree.crew === crew));
  return stops.length ? stops.sort((a, b) => a.order - b.order) : open;
}

function next() {
  const found = candidates(), ordered = found.length && found[0].stop !== undefined && found[0].stop !== null;
  const trees = ordered ? byDistance(found, null).map(({ tree }) => ({ tree, away: null })) : byDistance(found, app.fix);
  const list = make("ul", { class: "rows" }, ...trees.slice(0, shown.most).map(treeRow));
  const more = trees.length > shown.most ? key(word("key.more", { count: trees.length - shown.most }), () => { shown.most += AT_ONCE; hooks.draw(); }, { class: "wide" }) : null;
  const title = ordered && !shown.query ? "trees.round" : app.fix ? "trees.near" : "trees.all";
  return make("section", {}, make("h2", { text: word(title) }), trees.length ? list : make("p", { class: "quiet", text: word(shown.query ? "trees.none_found" : "trees.none") }), more);
}

function crews() {
  const all = [...new Set(app.data.trees.map(({ crew }) => crew).filter((crew) => crew !== undefined && crew !== null))].sort(byName);
  if (all.length < 2) return null;
  if (!all.includes(shown.crew)) shown.crew = null;
  const choose = (crew) => {
    shown.crew = crew;
    if (crew === null) window.localStorage.removeItem(CREW);
    else window.localStorage.setItem(CREW, crew);
    hooks.draw();
  };
  const one = (crew, text) => key(text, () => choose(crew), { "aria-pressed": String(shown.crew === crew) });
  return make("div", { class: "choice", role: "group", "aria-label": word("trees.crews") }, one(null, word("trees.all_crews")), ...all.map((crew) => one(crew, word("trees.crew", { crew }))));
}

function finder() {
  const field = make("input", { id: "find", type: "search", autocomplete: "off", autocapitalize: "off", spellcheck: "false", value: shown.query, "aria-label": word("trees.find"), placeholder: word("trees.find") });
  const list = make("div", {}, next());
  field.addEventListener("input", () => { shown.query = field.value; shown.most = AT_ONCE; list.replaceChildren(next()); });
  return [make("div", { class: "find" }, field, key(word("key.new_tree"), () => show("new_tree"), { id: "new-tree" })), list];
}

function read() {
  const done = app.work.readings.filter((one) => one.pressure !== null && one.day === today()).sort((a, b) => b.readAt - a.readAt);
  if (!done.length) return null;
  const row = (one) => make("li", {}, make("button", { type: "button", class: one.withdrawn ? "who gone" : "who", on: { click: () => show("reading", { reading: one.id }) } },
    make("b", {}, named(one.tree.tree_id)), make("small", { text: word("trees.read_at", { clock: clockOf(one.readAt) }) }), make("strong", { text: ofGauge(one.pressure * app.data.rules.barPerUnit) })));
  return make("details", { id: "done" }, make("summary", { text: word("trees.done", { count: done.length }) }), make("ul", { class: "rows" }, ...done.map(row)));
}

// Who measures, and with what: asked once a day, changed whenever it changes.
export function dayScreen() {
  const past = dayEntry() || [...app.work.days.values()].pop() || { crew: "", chamber: "" };
  const field = (name, value) => make("label", {}, make("span", { text: word(`day.${name}`) }), make("input", { id: `day-${name}`, value, autocomplete: "off", maxlength: "40" }));
  const form = make("form", { class: "card" }, make("h2", { text: word("day.title") }), field("crew", past.crew), field("chamber", past.chamber),
    make("ul", { class: "caution" }, ...["chamber", "heat", "pumps"].map((name) => make("li", { text: word(`caution.${name}`) }))),
    make("button", { type: "submit", class: "main wide", text: word(dayEntry() ? "key.save" : "key.start") }));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const value = (name) => form.querySelector(`#day-${name}`).value.trim();
    if (await store({ kind: "day", day: today(), crew: value("crew"), chamber: value("chamber") })) show("trees");
  });
  return form;
}

function whoToday() {
  const entry = dayEntry();
  if (!entry) return null;
  const text = [entry.crew, entry.chamber].filter(Boolean).join(", ") || word("day.nobody");
  return key(word("day.change", { who: text }), () => show("day"), { class: "wide", id: "who" });
}

export function treesScreen() {
  const bags = inBags(app.work.readings);
  const waiting = bags.length ? make("section", {}, make("h2", { text: word("trees.in_bags") }), make("ul", { class: "rows" }, ...bags.map(bagRow))) : null;
  return make("div", {}, dayEntry() ? null : dayScreen(), waiting, crews(), ...finder(), read(), whoToday());
}

export function treeScreen({ tree }) {
  const facts = [["tree.block", tree.block], ["tree.crop", tree.crop ? cropName(tree.crop) : null], ["tree.valve", tree.valve], ["tree.why", tree.why ? tree.why[app.language] : null]];
  if (tree.last !== null && tree.last !== undefined) facts.push(["tree.last_title", word("tree.last_on", { figure: ofGauge(tree.last), day: dayText(tree.lastDay) })]);
  if (tree.low !== null && tree.low !== undefined) facts.push(["tree.expected", word("tree.range", { low: ofGauge(tree.low), high: ofGauge(tree.high) })]);
  const rows = facts.filter(([, value]) => value).map(([name, value]) => make("div", {}, make("dt", { text: word(name) }), make("dd", {}, named(value))));
  return make("div", { class: "card" }, make("h2", {}, named(tree.tree_id)), make("dl", {}, ...rows),
    key(word("key.bag"), steadied(() => bagOn(tree)), { class: "main wide" }), key(word("key.back"), () => show("trees"), { class: "wide" }));
}

function freeName() {
  const taken = new Set(allTrees().map((tree) => folded(tree.tree_id)));
  let count = 1;
  while (taken.has(folded(`${word("tree.new_letter")}${count}`))) count += 1;
  return `${word("tree.new_letter")}${count}`;
}

// Two taps add a tree: this screen, with name and place filled in, and its key.
export function newTreeScreen() {
  const fix = freshFix(), { block, valve } = whereIs(fix, app.data);
  const name = make("input", { id: "tree-name", value: freeName(), autocomplete: "off", maxlength: "40" });
  const add = async () => {
    const tree_id = name.value.trim() || freeName();
    const tree = { key: `new ${randomId()}`, tree_id, block, valve, lon: fix ? fix.lon : null, lat: fix ? fix.lat : null, accuracy: fix ? fix.accuracy : null };
    if (await store({ kind: "tree", tree })) await bagOn(tree);
  };
  const text = fix ? word("tree.here", { block: block || word("place.outside"), length: lengthText(fix.accuracy) }) : word("tree.no_place");
  return make("div", { class: "card" }, make("h2", { text: word("tree.new_title") }), make("p", { class: fix ? "" : "warn", text }),
    make("label", {}, make("span", { text: word("tree.name") }), name),
    key(word("key.bag"), steadied(add), { class: "main wide", id: "add-tree" }), key(word("key.back"), () => show("trees"), { class: "wide" }));
}
