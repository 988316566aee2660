// The list beside the map: order, search, what a row leads to, cautions, how the map was made.
import { facts } from "./cards.js";
import { byId, make, named, swatch } from "./elements.js";
import { MOST_CHANGE } from "./labels.js";
import { atTheClock, beginsTie, clockIn, cropsByEdges, openings, priorityOf, search } from "./listing.js";
import { layerMark, readingRow, rowButton } from "./rows.js";
import { isPastLimit, mostlyOne, partedByLimit } from "./standing.js";
import {
  NO_RANK, bar, dayNamed, figure, hooks, known, labelOf, lastRank, lookMark, lookOf, looksFirst, number, quantity, ranch, readings, readingsBy, shortOf, shown, tieText,
  treesText, visitDays, spotWord, word,
} from "./shared.js";

const planned = openings(ranch.valves);
const startOf = ({ start }) => dayNamed(start);

// When a valve opens first, and how often in all: a sum of hours alone tells nobody when to be there.
function setsText({ sets }) {
  const count = sets.reduce((sum, [, , times = 1]) => sum + times, 0);
  return count > 1 ? word("list.sets", { start: dayNamed(sets[0][0]), count: number(count, 0) }) : dayNamed(sets[0][0]);
}

const lookLine = ({ plan }) => (looksFirst(plan) ? make("small", { class: "look", text: lookMark() }) : null);

function openingRow({ valve, start, end }) {
  const look = lookOf(priorityOf(valve));
  const item = rowButton({ kind: "valve", item: valve }, [
    make("span", { class: "number" }, make("b", { class: "clock", text: start.slice(11) })),
    make("span", { class: "name" }, named(valve.valve, { class: "main" }), make("small", {}, word("list.block", { block: "" }), named(valve.block ?? "")), lookLine(valve)),
    make("span", { class: "what" },
      make("span", { class: "chip", text: shortOf(priorityOf(valve)), style: { background: look.fill, color: look.ink } }),
      make("small", { text: word("list.until", { time: end.slice(0, 10) === start.slice(0, 10) ? end.slice(11) : dayNamed(end) }) })),
  ]);
  item.firstChild.dataset.valve = valve.valve;
  return item;
}

// Openings by the clock under a heading for each day; then the valves that stay closed, and why.
function openingRows(valves) {
  const among = new Set(valves);
  const rows = [];
  let date = null;
  for (const opening of planned.filter(({ valve }) => among.has(valve))) {
    const its = opening.start.slice(0, 10);
    if (its !== date) rows.push(make("li", { class: "head" }, make("h3", { text: dayNamed(its) })));
    date = its;
    rows.push(openingRow(opening));
  }
  const closed = valves.filter(({ plan }) => !plan || !plan.sets.length);
  return closed.length ? [...rows, make("li", { class: "head" }, make("h3", { text: word("card.plan_none") })), ...closed.map(valveRow)] : rows;
}

// What is open as this is looked at, and what comes next, by the ranch's clock.
function nowAndNext() {
  const { open, next } = atTheClock(planned, clockIn(ranch.zone, new Date()));
  const line = (key, some, tail) => (some.length ? make("p", {}, make("b", { text: `${word(key)}: ` }), some.map(({ valve }) => `\u2068${valve.valve}\u2069`).join(", "), ` · ${tail}`) : "");
  if (!open.length && !next.length) return "";
  const first = open.map(({ end }) => end).sort()[0];
  return make("div", { class: "clock-now" }, line("list.open_now", open, open.length ? word("list.until", { time: dayNamed(first) }) : ""), line("list.next", next, next.length ? startOf(next[0]) : ""));
}

function orderChoice() {
  const choice = (order) => make("button", { type: "button", "aria-pressed": String(shown.order === order), text: word(`list.by_${order}`), on: { click: () => hooks.orderBy(order) } });
  return make("div", { class: "order", role: "group", "aria-label": word("list.order") }, choice("rank"), choice("time"));
}

function valveRow(valve) {
  const priority = priorityOf(valve), look = lookOf(priority);
  const plan = valve.plan && valve.plan.sets.length ? setsText(valve.plan) : null;
  const item = rowButton({ kind: "valve", item: valve }, [
    make("span", { class: "number" }, make("span", { class: "unseen", text: word("list.rank", { rank: "" }) }), make("b", { text: valve.rank ?? NO_RANK })),
    make("span", { class: "name" }, named(valve.valve, { class: "main" }), make("small", {}, word("list.block", { block: "" }), named(valve.block ?? "")), make("small", { class: "trees", text: treesText(valve.trees) }),
      valve.season ? make("small", { class: "due", text: valve.season[shown.language][1] }) : null, lookLine(valve)),
    make("span", { class: "what" },
      make("span", { class: "chip", text: `${shortOf(priority)} ${labelOf(priority)}`, style: { background: look.fill, color: look.ink } }),
      make("small", { text: plan ?? (priority === "none" ? word("measure.guess", { figure: figure(valve.stress) }) : figure(valve.stress)) })),
  ]);
  item.firstChild.dataset.valve = valve.valve;
  return item;
}

// Before the first of a group of valves whose order cannot be told apart, a line says so.
function withTies(valve) {
  const row = valveRow(valve);
  if (!beginsTie(valve)) return [row];
  return [make("li", { class: "tie" }, tieText(valve.tied)), row];
}

// Those past what the crop bears stand first, under a heading of their own.
function valveRows(valves, write) {
  const { past, rest } = partedByLimit(valves);
  const head = (key, count) => make("li", { class: "head" }, key === "list.past" ? swatch("past") : null, make("h3", { text: word(key, { count: number(count, 0) }) }));
  const rows = (some) => some.flatMap(write);
  if (!past.length) return rows(rest);
  return [head("list.past", past.length), ...rows(past), ...(rest.length ? [head("list.not_past", rest.length), ...rows(rest)] : [])];
}

// Where nearly all has one colour, the colour tells nothing: what to look at instead.
function instead(query) {
  const most = query ? null : mostlyOne(ranch.valves);
  if (!most) return "";
  const isolated = (valve) => `\u2068${valve.valve}\u2069`;
  const said = { share: quantity(most.share, "share"), priority: `${shortOf(most.priority)} ${labelOf(most.priority)}`, valves: most.first.map(isolated).join(", "), count: number(most.past, 0) };
  const button = make("button", { type: "button", text: word("map.by_rank_short"), on: { click: () => hooks.colourBy("rank") } });
  return make("div", { class: "warn instead" }, make("p", { text: word(most.past ? "map.mostly_past" : "map.mostly", said) }), button);
}

function againRow(spot, place) {
  return rowButton({ kind: "again", item: spot }, [
    make("span", { class: "number" }, make("b", { text: place + 1 })),
    make("span", { class: "name" }, named(spot.tree ?? spot.valve ?? spotWord("map.look_again", "map.round_stop"), { class: "main" }), make("small", {}, word("list.block", { block: "" }), named(spot.block ?? ""))),
  ]);
}

function section(title, items, open) {
  return make("details", open ? { open: "" } : {}, make("summary", { text: title }), make("ul", { class: "rows" }, ...items));
}

const MOST_FOUND = 200;

function found(key, trees) {
  const more = trees.length > MOST_FOUND ? [make("li", { class: "tie", text: word("list.more_found", { count: number(trees.length - MOST_FOUND, 0) }) })] : [];
  return section(word(key), [...trees.slice(0, MOST_FOUND).map(readingRow), ...more], true);
}

// Where the map does not hold all readings of other visits, that is said.
function othersCut() {
  const { total } = ranch.others, count = readingsBy.others.length;
  return count < total ? make("p", { class: "count", text: word("list.others_cut", { total: number(total, 0), count: number(count, 0) }) }) : "";
}

function countText(query, valves, trees) {
  if (query && !valves.length && !trees.length) return word("list.found_none");
  return word(valves.length === 1 ? "list.count_one" : "list.count_many", { count: number(valves.length, 0) });
}

const orderedRows = (query, valves) => (planned.length && shown.order === "time" ? openingRows(valves) : valveRows(valves, query ? valveRow : withTies));

export function lists() {
  const { asked: query, valves, trees, others } = search(shown.query, ranch.valves, readings);
  const out = make("div", {});
  out.append(instead(query));
  out.append(make("h2", { text: word("list.heading"), class: query ? "unseen" : null }));
  out.append(make("p", { class: "count", role: "status", text: countText(query, valves, [...trees, ...others]) }));
  if (!query) out.append(...ranch.said[shown.language].map((text) => make("p", { class: "warn", text })));
  if (planned.length) out.append(query ? "" : nowAndNext(), orderChoice());
  out.append(make("ol", { class: "rows", id: "valve-rows" }, ...orderedRows(query, valves)));
  if (query) {
    if (trees.length) out.append(found("list.trees", trees));
    if (others.length) out.append(found("list.trees_others", others), othersCut());
    return out;
  }
  if (ranch.again.length) out.append(section(spotWord("list.look_again", "list.round", { count: ranch.again.length }), ranch.again.map(againRow), true));
  const { leftOut } = readingsBy;
  out.append(leftOut.length ? section(word("list.left_out", { count: leftOut.length }), leftOut.map(readingRow)) : make("p", { class: "count", text: word("list.left_out_none") }));
  out.append(about());
  return out;
}

function edgeRows() {
  const groups = cropsByEdges(ranch.edges);
  const name = (crops) => (groups.length === 1 ? word("about.edges_all") : crops.map((crop) => known("crop", crop)).join(", "));
  return groups.map(({ edges, crops }) => [name(crops), edgeList(edges)]);
}

function edgeWords(priority, [low, middle, high]) {
  const n = (value) => number(value, Number.isInteger(value) ? 0 : 1);
  return {
    1: word("priority.over", { high: n(high) }), 2: word("priority.between", { low: n(middle), high: n(high) }),
    3: word("priority.between", { low: n(low), high: n(middle) }), 4: word("priority.up_to", { high: n(low) }),
  }[priority];
}

const edgeList = (edges) => make("span", {}, ...[1, 2, 3, 4].map((p) => make("span", { class: "edge", text: `${shortOf(p)}: ${edgeWords(p, edges)}` })));

function about() {
  const counts = { used: number(readingsBy.used.length, 0), left_out: number(readingsBy.leftOut.length, 0) };
  const others = ranch.others.total ? word("about.counts_others", { others: number(ranch.others.total, 0) }) : "";
  const box = make("details", { id: "about" }, make("summary", { text: word("about.heading") }));
  box.append(facts([
    [word("map.visit"), visitDays()],
    [word("about.counts"), word("about.counts_text", counts) + others],
    [word("about.ranked_by"), word(`measure.${ranch.rankBy}`)],
    [word("about.method"), known("method", ranch.method)],
    ...edgeRows(),
  ]));
  box.append(make("p", { text: word("about.interval") }), othersCut());
  if (ranch.notes[shown.language].length) box.append(make("h3", { text: word("about.notes") }), notes());
  if (word("map.draft_language")) box.append(make("p", { text: word("map.draft_language") }));
  box.append(make("p", { text: word("about.software") }));
  return box;
}

function notes() {
  return make("ul", { class: "notes" }, ...ranch.notes[shown.language].map((note) => make("li", {}, named(note))));
}

export function fillCautions() {
  const box = byId("cautions");
  box.setAttribute("aria-label", word("caution.heading"));
  box.querySelector("summary").textContent = word("caution.advice");
  box.querySelector("p").textContent = ["chamber", "heat", "pumps", "stress", "crops"].map((name) => word(`caution.${name}`)).join(" ");
}

export function legend() {
  const image = ranch.images[shown.colourBy];
  if (shown.colourBy === "rank") return rankLegend();
  if (image || shown.colourBy === "change") return rampLegend(image);
  const groups = cropsByEdges(ranch.edges);
  const items = [1, 2, 3, 4].map((p) => make("li", {}, swatch(p), make("span", {},
    make("b", { text: `${shortOf(p)} ${labelOf(p)}` }), groups.length === 1 ? make("small", { text: edgeWords(p, groups[0].edges) }) : null)));
  if (shown.colourBy === "valves") items.unshift(...pastKeys());
  if (someUnmeasured()) items.push(unmeasuredKey());
  return [make("p", { class: "measure", text: measureText() }), heatLine(), make("ul", { class: "keys" }, ...items), pointKeys()];
}

const measureText = () => `${word("card.figure")}: ${word(`measure.${ranch.rankBy}`)}`;
const heatLine = () => (ranch.heatOut ? "" : make("p", { class: "heat", text: word("map.heat_in") }));
const pastKeys = () => (ranch.valves.some(isPastLimit) ? [make("li", {}, swatch("past"), make("span", {}, make("b", { text: word("priority.past") })))] : []);

function rankLegend() {
  const keys = [...pastKeys(), ...(someUnmeasured() ? [unmeasuredKey()] : [])];
  return [
    make("p", { class: "measure", text: word("map.by_rank") }), heatLine(),
    make("div", { class: "ramp", style: { backgroundImage: ranch.style.ramps.rank } }),
    make("p", { class: "ramp-ends" }, make("span", { text: word("map.rank_last", { rank: number(lastRank, 0) }) }), make("span", { text: word("map.rank_first", { rank: 1 }) })),
    keys.length ? make("ul", { class: "keys" }, ...keys) : "", pointKeys(),
  ];
}

const someUnmeasured = () => [...ranch.valves, ...ranch.zones].some((thing) => priorityOf(thing) === "none");
const unmeasuredKey = () => make("li", {}, swatch("none"), make("span", {}, make("b", { text: labelOf("none") })));

function rampLegend(image) {
  const unsure = shown.colourBy === "uncertainty";
  const ends = unsure ? ["map.sure", "map.unsure"] : ["map.wetter", "map.drier"];
  const [low, high] = image ? [image.low, image.high] : [-MOST_CHANGE, MOST_CHANGE];
  return [
    make("p", { class: "measure", text: unsure ? word("map.by_uncertainty") : shown.colourBy === "change" ? word("map.by_change") : measureText() }), heatLine(),
    make("div", { class: "ramp", style: { backgroundImage: ranch.style.ramps[shown.colourBy] } }),
    make("p", { class: "ramp-ends" }, make("span", { text: `${bar(low)} · ${word(ends[0])}` }), make("span", { text: `${word(ends[1])} · ${bar(high)}` })),
    !unsure && someUnmeasured() ? make("ul", { class: "keys" }, unmeasuredKey()) : "",
    pointKeys(),
  ];
}

function pointKeys() {
  const names = [["ranks", "map.legend_rank"], ["used", "map.reading_used"], ["leftOut", "map.reading_left_out"], ["again", "map.look_again"]]
    .filter(([name]) => name !== "again" || ranch.again.length);
  return make("ul", { class: "points" }, ...names.map(([name, key]) => make("li", {}, layerMark(name), make("span", { text: name === "again" ? spotWord(key, "map.round_stop") : word(key) }))));
}
