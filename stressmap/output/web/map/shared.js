// What every part of the page uses: the data, the words of the language shown, numbers, elements.
import { byKind, unpackOthers } from "./listing.js";
import { filled, hoursAndMinutes, numberText, quantityText } from "./quantities.js";

export const ranch = JSON.parse(document.getElementById("ranch-data").textContent);
export const shown = {
  language: document.documentElement.lang,
  colourBy: "valves",
  layers: { used: true, leftOut: true, others: false, ranks: true, names: true, again: true },
  chosen: null,
  query: "",
  order: "rank",
};
// What the list and the cards may ask of the page; the page fills it in.
export const hooks = { choose: null, colourBy: null, orderBy: null };

export function word(key, values) {
  const [section, name] = key.split(".");
  return filled(ranch.words[shown.language][section][name], values);
}

// What is said of places to look again, or of a round's stops where one is planned.
export const spotWord = (again, planned, values = {}) => (ranch.round ? word(planned, { day: ranch.round[shown.language], ...values }) : word(again, values));

// A crop, flag or method that the words do not know is a name, and stays as it is.
export function known(section, name) {
  return ranch.words[shown.language][section][String(name).replace(/ /g, "_")] || String(name);
}

export const marks = () => ({ decimal: word("locale.decimal"), thousands: word("locale.thousands") });

export function number(value, digits = 1) {
  return value === null || value === undefined ? word("measure.no_data") : numberText(value, digits, marks());
}

export function quantity(value, kind) {
  if (value === null || value === undefined) return word("measure.no_data");
  const { number: shownNumber, unit, bound } = quantityText(value, kind, ranch.quantities, marks());
  const text = `${shownNumber} ${word(`unit.${unit}`)}`;
  return bound ? word(`measure.${bound}`, { value: text }) : text;
}

export const bar = (value) => quantity(value, "pressure");
// What was read, and beside it what the crew's gauge showed where that is in psi.
export const pressureRead = (value) => (ranch.gauge === "psi" && value !== null ? `${bar(value)} (${quantity(value, "gauge")})` : bar(value));
export const percent = (chance) => quantity(chance, "chance");
export const area = (hectares) => quantity(hectares, "area");
export const distance = (metres) => quantity(metres, "length");
export const depth = (mm) => quantity(mm, "depth");
export const volume = (m3) => quantity(m3, "volume");
export const duration = (hours) => word("unit.hours", hoursAndMinutes(hours));

// Clock time is the ranch's; the phone's own zone has no say in it.
export function day(text) {
  if (!text) return word("measure.no_data");
  const [date, clock] = text.split("T");
  const [year, month, number_] = date.split("-").map(Number);
  if (!number_) return text;
  const form = ranch.units === "us" ? "locale.date" : "locale.date_metric";
  const name = word("locale.months").split(" ")[month - 1];
  const written = word(form, { day: number_, month: name, year });
  return clock ? word("locale.at_time", { date: written, clock }) : written;
}

// With the day of the week, for what is still to be done.
export function dayNamed(text) {
  const weekday = (new Date(`${text.slice(0, 10)}T00:00:00Z`).getUTCDay() + 6) % 7;
  return `${word("locale.weekdays").split(" ")[weekday]} ${day(text)}`;
}

export function visitDays() {
  const [first, last] = ranch.visit;
  if (first === last) return day(first);
  if (first.slice(0, 7) !== last.slice(0, 7)) return word("locale.span", { first: day(first), last: day(last) });
  const [year, month] = first.split("-").map(Number);
  const form = ranch.units === "us" ? "locale.span_month" : "locale.span_month_metric";
  const name = word("locale.months_long").split(" ")[month - 1];
  return word(form, { first: Number(first.slice(8, 10)), last: Number(last.slice(8, 10)), month: name, year });
}

export function figure(stress) {
  if (stress === null) return word("measure.unknown");
  const value = number(Math.abs(stress)), side = stress < 0 ? "_wet" : "";
  return word(`measure.short_${ranch.rankBy}${value === number(0) ? "_even" : side}`, { value });
}

export const labelOf = (priority) => word(priority === "none" ? "priority.none" : `priority.p${priority}`);
export const lookOf = (priority) => (priority === "none" ? ranch.style.none : ranch.style.priority[priority]);
export const readings = [...ranch.readings, ...unpackOthers(ranch.others)];
export const readingsBy = byKind(readings);
export const lastRank = ranch.valves.filter(({ rank }) => rank !== null).length;

export function treesText(count) {
  if (count < 2) return word(count ? "trees.one" : "trees.none");
  return word("trees.many", { count: number(count, 0) });
}

// Of a plan: whether its valve is to be looked at before it is opened; the crew sheet's mark and words for it.
export const looksFirst = (plan) => Boolean(plan && plan.look && plan.look.length);
export const lookMark = () => `! ${word("look.first")}`;

// What was more tension, or a drier target, is more; a plus sign says so.
export const signedNumber = (value) => (value > 0 && numberText(value, 1, marks()) !== numberText(0, 1, marks()) ? "+" : "") + number(value);
export const shortOf = (priority) => (priority === "none" ? "?" : word("priority.short", { number: priority }));

export const NO_RANK = "\u2013";
export const tieText = ([first, last]) => word("list.tied", { first, last });
