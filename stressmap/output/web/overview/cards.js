// What a tap shows of a ranch, a block or a valve zone.
import { make, named, swatch } from "../map/elements.js";
import { PAST, openZones } from "./coding.js";
import { byRank } from "./order.js";
import { ageText, cropWord, day, district, dueText, figure, hooks, lookName, number, problemPart, quantity, titleOf, told, visitText, word } from "./page.js";
import { countsOf, valveRow } from "./lists.js";

const Z90 = 1.6448536;
const heading = (text) => make("h2", { tabindex: "-1" }, named(text));

function facts(pairs) {
  return make("dl", {}, ...pairs.filter(([, value]) => value !== null && value !== undefined && value !== "").flatMap(([term, value]) => [make("dt", { text: term }), make("dd", {}, value)]));
}

const link = (ranch, file, text) => make("a", { class: "file", href: `${encodeURIComponent(ranch.folder)}/${file}`, text });
const ranchButton = (ranch) => make("button", { type: "button", on: { click: () => hooks.choose(ranch) } }, named(ranch.name));

function failedCard(ranch) {
  const problems = ranch.problems.map(([file, row, column], at) => {
    const place = [file, row === null ? null : word("ranch.row", { row }), column === null ? null : word("ranch.column", { column })].filter(Boolean).join(", ");
    return make("li", {}, make("b", {}, named(place)), ...[0, 1].map((part) => make("p", {}, problemPart(ranch, at, part))));
  });
  return [heading(ranch.name), make("p", { class: "warn", text: word("ranch.failed_why") }), make("ul", { class: "problems" }, ...problems)];
}

function ranchCard(ranch) {
  if (!ranch.visit) return failedCard(ranch);
  const counts = countsOf(ranch).map(([code, count]) => make("li", {}, swatch(lookName(code)), make("span", {}, make("b", { text: titleOf(code) }), make("small", { text: word("ranch.valves", { count: number(count) }) }))));
  const first = byRank(ranch.valves).slice(0, 12), more = ranch.valves.length - first.length;
  return [
    heading(ranch.name), make("p", { class: "under", text: [visitText(ranch.visit), ageText(ranch.visit)].filter(Boolean).join(" · ") }),
    ranch.lenders ? make("p", { class: "under", text: word("ranch.borrowed", { count: number(ranch.lenders) }) }) : null,
    make("p", { class: "files" }, link(ranch, "map.html", word("ranch.map")), link(ranch, "crew_sheet.pdf", word("ranch.sheet")), link(ranch, "report.html", word("ranch.report")), ranch.planned ? link(ranch, "water/water_plan.txt", word("ranch.plan")) : null),
    make("ul", { class: "keys" }, ...counts),
    facts([[word("ranch.blocks"), number(ranch.blocks.length)], [word("card.area"), quantity(ranch.area, "area")], [word("ranch.used"), ranch.used === null ? null : number(ranch.used)], ...waterOf(ranch)]),
    make("h3", { text: word("ranch.first") }), make("ol", { class: "rows" }, ...first.map(valveRow)),
    more > 0 ? make("p", { class: "count", text: word("ranch.more", { count: number(more) }) }) : null,
    openZones(ranch) ? null : make("p", { class: "count", text: word("ranch.zones_elsewhere") }),
  ];
}

function waterOf({ water }) {
  if (!water) return [];
  const [share, equal, need] = water;
  return [[word("ranch.share"), quantity(share, "volume")], [word("ranch.equal"), quantity(equal, "volume")], [word("ranch.need"), quantity(need, "volume")]];
}

function blockCard(block) {
  return [
    heading(block.name), make("p", { class: "under" }, ranchButton(block.ranch)),
    band(block.code, ""), facts([[word("card.crop"), cropWord(block.crop)], [word("ranch.used"), number(block.readings)]]),
    make("h3", { text: word("ranch.valves", { count: block.valves.length }) }), make("ol", { class: "rows" }, ...byRank(block.valves).map(valveRow), ...block.valves.filter(({ rank }) => rank === null).map(valveRow)),
  ];
}

const band = (code, text) => make("p", { class: "band" }, swatch(lookName(code)), make("strong", { text: titleOf(code) }), text ? make("span", { text }) : null);

function valveCard(valve) {
  const { name, block, code, rank, stress, se } = valve, last = byRank(district.valves).length;
  const interval = stress === null || se === null ? null : word("valve.range", { low: number(stress - Z90 * se, 1), high: number(stress + Z90 * se, 1) });
  return [
    heading(name), make("p", { class: "under" }, named(block.name), " · ", ranchButton(block.ranch)),
    band(code, rank === null ? word("valve.no_rank") : word("card.rank_of", { rank: number(rank), count: number(last) })),
    code === PAST ? make("p", { class: "warn", text: word("card.past_meaning") }) : null,
    block.readings ? null : make("p", { class: "warn", text: word("card.not_measured") }),
    facts([
      [word("card.figure"), make("span", {}, figure(valve), interval ? make("small", { text: interval }) : null)], [word("card.crop"), cropWord(block.crop)], [word("valve.readings"), number(valve.readings)],
      [word("card.due"), dueText(valve)], [word("card.last_irrigated"), valve.watered === null ? null : day(valve.watered)], [word("valve.visit"), visitText(block.ranch.visit)],
    ]),
    make("p", { class: "files" }, link(block.ranch, "map.html", word("ranch.map"))),
    told.mixed ? make("p", { class: "count", text: word("valve.mixed") }) : null,
  ];
}

export const CARDS = { ranch: ranchCard, block: blockCard, valve: valveCard };
