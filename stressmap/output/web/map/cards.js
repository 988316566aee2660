// What a tap shows, in plain words.
import { make, named, swatch } from "./elements.js";
import { turned } from "./geometry.js";
import { kindOf, priorityOf } from "./listing.js";
import { flagWords, readingRow } from "./rows.js";
import { addUpAsWritten, isPastLimit } from "./standing.js";
import {
  area, bar, day, dayNamed, depth, duration, figure, known, labelOf, lastRank, lookMark, looksFirst, number, percent, pressureRead, quantity, ranch, readingsBy, shown,
  signedNumber, tieText, treesText, volume, spotWord, word,
} from "./shared.js";

export function facts(pairs) {
  const list = make("dl", {});
  for (const [name, value, extra] of pairs.filter(Boolean)) {
    const answer = make("dd", {}, value);
    for (const line of [extra].flat().filter(Boolean)) answer.append(make("small", { text: line }));
    list.append(make("dt", { text: name }), answer);
  }
  return list;
}

function band(priority, right) {
  return make("p", { class: "band" }, swatch(priority),
    make("strong", { text: priority === "none" ? word("priority.none") : word("priority.named", { number: priority, label: labelOf(priority) }) }),
    right ? make("span", { text: right }) : null);
}

function where(at) {
  if (!at) return make("span", { text: word("list.no_position") });
  const [latitude, longitude] = [at[0], Number(turned(at[1], 0).toFixed(6))];
  const text = `${latitude.toFixed(5)}, ${longitude.toFixed(5)}`, spot = `${latitude},${longitude}`;
  return make("span", {}, make("span", { text }), make("a", { class: "wide", href: `geo:${spot}?q=${spot}`, text: word("card.open_phone_map") }));
}

// Where to go to open a valve: its riser, or the corner that stands for it.
function opened([latitude, longitude, kind, side]) {
  return [word("card.where"), where([latitude, longitude]), word(`place.${kind}_text`, { side: word(`place.${side}`) })];
}

function planFacts(plan) {
  if (!plan) return [];
  if (!plan.sets.length) return [[word("card.plan_hours"), word("card.plan_none"), plan.why ? plan.why[shown.language] : null]];
  const sets = plan.sets.reduce((sum, [, , times = 1]) => sum + times, 0);
  return [
    [word("card.plan_hours"), sets > 1 ? word("card.plan_sets", { count: number(sets, 0), hours: duration(plan.hours) }) : duration(plan.hours)],
    ...plan.sets.flatMap(([start, end, times, last]) => [
      [word("card.plan_start"), dayNamed(start)],
      [word("card.plan_stop"), dayNamed(end), times ? word("card.plan_daily", { times, last: dayNamed(last) }) : null],
    ]),
    plan.mm === null ? null : [word("card.plan_depth"), depth(plan.mm)],
    plan.m3 === null ? null : [word("card.plan_volume"), volume(plan.m3)],
  ];
}

function changeText(change) {
  if (change.bar === null) return word("measure.no_data");
  if (change.clear === false) return word("card.change_unclear");
  return word(change.bar > 0 ? "card.change_drier" : "card.change_wetter", { value: number(Math.abs(change.bar)) });
}

// What the gauge shows is the weather's part and the trees' part; the equals sign only where that holds as written.
function changeParts({ bar: trees, gauge, weather, target, watered }, unread) {
  const lines = [];
  const inPsi = psiBeside(gauge);
  const inBar = `${signedNumber(gauge)} ${word("unit.bar")}${inPsi}`;
  const signedParts = { gauge: inPsi ? inBar : signedNumber(gauge), weather: signedNumber(weather), trees: signedNumber(trees) };
  if (gauge !== null && weather === null) lines.push(word("card.change_no_weather", { gauge: inBar }));
  else if (gauge !== null) lines.push(word("card.change_parts", { ...signedParts, sign: addUpAsWritten(gauge, [weather, trees]) ? "=" : "≈" }));
  if (target !== null) lines.push(word("card.change_target", { value: signedNumber(target) }));
  if (lines.length) lines.push(word("card.change_sign"));
  return [...lines, ...wateredBetween(watered, unread)];
}

// A log says what ran; that nothing ran it cannot say.
function wateredBetween(watered, unread) {
  if (watered !== null) return [word(watered ? "card.watered" : "card.not_watered")];
  if (unread) return [word("card.watered_unread")];
  return ranch.log ? [word("card.watered_unknown")] : [];
}

// In psi beside bar for a crew whose gauge is in psi.
const psiBeside = (gauge) => (gauge !== null && ranch.gauge === "psi" ? ` (${gauge > 0 ? "+" : ""}${quantity(gauge, "gauge")})` : "");

// What the log says of a valve's last water, and where the log ends if that is long before the visit.
function lastWater(valve) {
  if (!valve.last && !ranch.log) return null;
  const told = valve.last ? day(valve.last) : word(valve.unread ? "measure.no_data" : "card.no_entry");
  const early = ranch.log && ranch.log.early ? word("card.log_ends", { date: day(ranch.log.ends) }) : null;
  const unread = valve.unread ? word("card.log_unread") : null;
  return [word("card.last_irrigated"), told, [unread, early].filter(Boolean).join(". ") || null];
}

// What is to be seen to before a valve is opened comes before all else, its times not excepted.
function lookFirst({ plan }) {
  if (!looksFirst(plan)) return "";
  return make("p", { class: "warn look" }, make("b", { text: lookMark() }), ...plan.look.map((why) => make("small", { text: known("look", why) })));
}

function standingWarnings(valve) {
  const warnings = [];
  if (isPastLimit(valve)) warnings.push(make("p", { class: "warn past" }, swatch("past"), make("span", {}, make("b", { text: word("priority.past") }), make("small", { text: word("card.past_meaning") }))));
  if (!valve.measured) warnings.push(make("p", { class: "warn", text: word("card.not_measured") }));
  else if (valve.blockTrees < ranch.fewTrees) warnings.push(make("p", { class: "warn", text: word("card.few_trees", { trees: treesText(valve.blockTrees) }) }));
  for (const text of ranch.said[shown.language]) warnings.push(make("p", { class: "warn", text }));
  return warnings;
}

function valveCard(valve) {
  const priority = priorityOf(valve);
  const body = make("div", {},
    make("h2", { tabindex: "-1" }, word("list.valve", { valve: "" }), named(valve.valve)),
    make("p", { class: "under" }, word("list.block", { block: "" }), named(valve.block ?? word("measure.no_data")), ` · ${known("crop", valve.crop)} · ${area(valve.area)}`),
    lookFirst(valve), band(priority, valve.rank === null ? word("list.no_rank") : word("card.rank_of", { rank: valve.rank, count: lastRank })));
  body.append(...standingWarnings(valve));
  body.append(facts([
    ...planFacts(valve.plan),
    [word("card.figure"), figure(valve.stress), [word("card.interval", { low: number(valve.low), high: number(valve.high) }), ranch.heatOut ? null : word("map.heat_in")]],
    [word("card.trees"), treesText(valve.trees)],
    valve.tied ? [word("card.order"), tieText(valve.tied)] : null,
    valve.change ? [word("card.change", { date: day(valve.change.since) }), changeText(valve.change), changeParts(valve.change, valve.unread)] : null,
    [word("card.potential"), bar(valve.swp)],
    [word("card.target"), bar(valve.target), valve.allowance === null ? null : word("card.allowance", { value: number(valve.allowance) })],
    valve.baseline === null ? null : [word("card.baseline"), bar(valve.baseline)],
    priority === "none" ? null : [word("card.confidence"), percent(valve.confidence)],
    [word("card.p_first"), percent(valve.pFirst)],
    valve.season ? [word("card.due"), valve.season[shown.language][0]] : null,
    lastWater(valve),
    opened(valve.open),
  ]));
  const inside = [...readingsBy.used, ...readingsBy.leftOut].filter((reading) => reading.valve === valve.valve);
  if (inside.length) {
    body.append(make("h3", { text: word("card.here") }));
    body.append(make("ul", { class: "rows" }, ...inside.map((reading) => readingRow(reading))));
  }
  return body;
}

const given = (key, value, write) => (value === null ? null : [word(key), write(value)]);

const USE = { used: "card.used", leftOut: "card.left_out", others: "card.other_visit" };

function readingCard(reading) {
  const name = reading.tree ? word("list.tree", { tree: "" }) : word("list.reading_row", { row: reading.row });
  const body = make("div", {}, make("h2", { tabindex: "-1" }, name, reading.tree ? named(reading.tree) : ""),
    make("p", { class: `use ${reading.used ? "" : "out"}` },
      make("strong", { text: `${word("card.reading")}: ${word(USE[kindOf(reading)])}` })));
  const flags = flagWords(reading);
  body.append(facts([
    flags ? [word(reading.used ? "card.note" : "card.why"), flags] : null,
    [word("card.measured"), day(reading.time)],
    [word("card.pressure"), pressureRead(reading.pressure)],
    given("card.figure", reading.stress, figure),
    reading.tooWet ? [word("card.note"), word("card.too_wet")] : null,
    given("card.predicted", reading.predicted, figure),
    given("card.humidity_deficit", reading.vpd, (kpa) => quantity(kpa, "deficit")),
    given("card.block", reading.block, named),
    given("card.valve", reading.valve, named),
    [word("card.where"), where(reading.at)],
  ]));
  return body;
}

function zoneCard(zone) {
  const priority = priorityOf(zone);
  const body = make("div", {}, make("h2", { tabindex: "-1", text: word("card.zone") }),
    make("p", { class: "under" }, word("list.block", { block: "" }), named(zone.block), ` · ${area(zone.area)}`),
    band(priority));
  if (priority === "none") body.append(make("p", { class: "warn", text: word("card.not_measured") }));
  body.append(facts([
    [word("card.figure"), figure(zone.stress), zone.se === null ? null : word("map.give_or_take", { value: number(zone.se) })],
    priority < 4 ? [word("card.zone_odds"), percent(zone.confidence)] : null,
  ]));
  return body;
}

function againCard(spot) {
  const body = make("div", {}, make("h2", { tabindex: "-1" }, spot.tree ? word("list.tree", { tree: "" }) : spotWord("map.look_again", "map.round_stop"), spot.tree ? named(spot.tree) : ""),
    make("p", { class: "use", text: spotWord("card.look_again_why", "card.round_stop", spot) }));
  body.append(facts([
    spot.block ? [word("card.block"), named(spot.block)] : null,
    spot.valve ? [word("card.valve"), named(spot.valve)] : null,
    [word("card.where"), where(spot.at)],
  ]));
  return body;
}

export const CARDS = { valve: valveCard, reading: readingCard, zone: zoneCard, again: againCard };
