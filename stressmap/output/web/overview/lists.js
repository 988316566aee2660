// What is urgent over all ranches, the ranches themselves, and what a search finds.
import { make, named } from "../map/elements.js";
import { PAST } from "./coding.js";
import { firstRank, found, ordered, tally, urgent, worstOf } from "./order.js";
import { MOST_ROWS, ageText, chip, district, dueText, figure, hooks, index, number, problemPart, shortOf, shown, titleOf, told, visitText, word } from "./page.js";

const NO_RANK = "\u2013";

function row(thing, parts) {
  const button = make("button", { type: "button", class: "row", on: { click: () => hooks.choose(thing) } }, ...parts);
  return make("li", {}, button);
}

const head = (text) => make("li", { class: "head" }, make("h3", { text }));

export function valveRow(valve) {
  const { name, block, rank, code } = valve, due = dueText(valve);
  return row(valve, [
    make("span", { class: "number" }, make("span", { class: "unseen", text: word("list.rank", { rank: "" }) }), make("b", { text: rank === null ? NO_RANK : number(rank) })),
    make("span", { class: "name" }, named(name, { class: "main" }), make("small", {}, named(block.name), " · ", named(block.ranch.name)), due ? make("small", { class: "due", text: due }) : null),
    make("span", { class: "what" }, chip(code), make("small", { text: figure(valve) })),
  ]);
}

const CODES = [PAST, 1, 2, 3, 4, 0];
export const countsOf = (ranch) => CODES.map((code) => [code, tally(ranch.valves)[code]]).filter(([, count]) => count);

function ranchRow(ranch) {
  if (!ranch.visit) {
    return row(ranch, [
      make("span", { class: "number" }, make("b", { text: "!", "aria-hidden": "true" })),
      make("span", { class: "name" }, named(ranch.name, { class: "main" }), make("small", {}, ranch.problems.length ? problemPart(ranch, 0, 0) : "")),
      make("span", { class: "what" }, make("span", { class: "chip failed", text: word("ranch.failed") }), make("small", { text: word("ranch.problems", { count: ranch.problems.length }) })),
    ]);
  }
  const age = ageText(ranch.visit), best = firstRank(ranch);
  return row(ranch, [
    make("span", { class: "number" }, make("span", { class: "unseen", text: word("list.rank", { rank: "" }) }), make("b", { text: Number.isFinite(best) ? number(best) : NO_RANK })),
    make("span", { class: "name" }, named(ranch.name, { class: "main" }), make("small", { text: [visitText(ranch.visit), age].filter(Boolean).join(" · ") }),
      make("small", { text: countsOf(ranch).map(([code, count]) => word("ranch.of_priority", { short: code === PAST ? titleOf(code) : shortOf(code), count: number(count) })).join(" · ") })),
    make("span", { class: "what" }, chip(worstOf(ranch), shortOf(worstOf(ranch)))),
  ]);
}

function blockRow(block) {
  return row(block, [
    make("span", { class: "name" }, named(block.name, { class: "main" }), make("small", {}, named(block.ranch.name), ` · ${word("ranch.valves", { count: number(block.valves.length) })}`)),
    make("span", { class: "what" }, chip(block.code)),
  ]);
}

// The first rows, and a button for the next where there are more.
function rowsOf(things, toRow, between = () => null) {
  const most = MOST_ROWS + shown.rows, list = make("ol", { class: "rows" });
  things.slice(0, most).forEach((thing, i) => list.append(...[between(thing, things[i - 1]), toRow(thing)].filter(Boolean)));
  const more = things.length - most;
  return more > 0 ? make("div", {}, list, make("button", { type: "button", class: "more", text: word("list.more", { count: Math.min(more, 100), left: number(more) }), on: { click: () => hooks.more() } })) : list;
}

function urgentList() {
  const { ranked } = urgent(district.valves), past = ranked.filter(({ code }) => code === PAST).length;
  const parted = (valve, before) => {
    if (!past) return null;
    if (!before) return valve.code === PAST ? head(word("list.past", { count: number(past) })) : null;
    return before.code === PAST && valve.code !== PAST ? head(word("list.not_past", { count: number(ranked.length - past) })) : null;
  };
  return make("section", { "aria-labelledby": "list-name" },
    make("h2", { id: "list-name", class: "unseen", text: word("list.urgent") }), make("p", { class: "count wide-only", text: word("ranch.valves", { count: number(ranked.length) }) }), rowsOf(ranked, valveRow, parted));
}

function ranchList() {
  const choice = (by) => make("button", { type: "button", "aria-pressed": String(shown.order === by), text: word(`list.by_${by}`), on: { click: () => hooks.order(by) } });
  const failed = district.ranches.filter(({ visit }) => !visit).length;
  const counted = [word("list.ranches_count", { count: district.ranches.length }), failed ? word("list.failed_count", { count: failed }) : ""].filter(Boolean).join(" · ");
  return make("section", { "aria-labelledby": "list-name" },
    make("h2", { id: "list-name", class: "unseen", text: word("list.ranches") }), make("p", { class: "count", text: counted }),
    make("div", { class: "order", role: "group", "aria-label": word("list.order") }, choice("urgent"), choice("visit")),
    rowsOf(ordered(district.ranches, shown.order), ranchRow));
}

// What each ranch gets of the water that they share: written beforehand, a row opens the ranch.
function waterList() {
  const { heading, lines, head: [, , equally, needed], rows } = told.water[shown.language];
  const cells = ([name, gets, equal, needs, why], at) => row(district.ranches[at], [
    make("span", { class: "name" }, named(name, { class: "main" }), make("small", { text: `${equally}: ${equal} · ${needed}: ${needs}` }), make("small", { text: why })),
    make("span", { class: "what" }, make("b", { text: gets })),
  ]);
  return make("section", { "aria-labelledby": "list-name" },
    make("h2", { id: "list-name", text: heading }), make("p", { text: lines[0] }), make("ol", { class: "rows" }, ...rows.map(cells)), ...lines.slice(1).map((text) => make("p", { class: "count", text })));
}

function results(hits) {
  const parts = [["ranches", ranchRow], ["blocks", blockRow], ["valves", valveRow]].filter(([name]) => hits[name].count);
  if (!parts.length) return make("p", { class: "count", text: word("list.found_none") });
  return make("div", {}, ...parts.map(([name, toRow]) => {
    const { count, things } = hits[name];
    const rest = count - things.length;
    return make("section", {}, make("h2", { text: word(`list.found_${name}`) }), make("p", { class: "count", text: number(count) }),
      make("ol", { class: "rows" }, ...things.map(toRow)), rest ? make("p", { class: "count", text: word("list.more_found", { count: number(rest) }) }) : null);
  }));
}

export function lists() {
  const hits = shown.query.trim() ? found(index(), shown.query, MOST_ROWS) : null;
  if (hits) return results(hits);
  if (shown.list === "water") return waterList();
  return shown.list === "ranches" ? ranchList() : urgentList();
}

export const tabs = () => {
  const water = told.water[shown.language], names = [["urgent", word("list.urgent")], ["ranches", word("list.ranches")], ...(water ? [["water", water.tab]] : [])];
  return names.map(([name, text]) => make("button", { type: "button", "aria-pressed": String(shown.list === name), text, on: { click: () => hooks.list(name) } }));
};

