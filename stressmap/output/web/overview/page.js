// What every part of the page uses: the district, the words of the language shown, figures, days.
import { make, named } from "../map/elements.js";
import { filled, numberText, quantityText } from "../map/quantities.js";
import { PAST, districtOf } from "./coding.js";
import { daysFrom, searchable } from "./order.js";

export const told = JSON.parse(document.getElementById("district-data").textContent);
export const district = districtOf(told);
export const shown = { language: document.documentElement.lang, list: "urgent", order: "urgent", query: "", chosen: null, rows: 0 };
// What lists and cards may ask of the page; the page fills it in.
export const hooks = { choose: null, fillLists: null };
export const MOST_ROWS = 60;

let names = null;
export function index() {
  names = names ?? searchable(district);
  return names;
}

export function word(key, values) {
  const [section, name] = key.split(".");
  return filled(told.words[shown.language][section][name], values);
}

export const cropWord = (crop) => told.words[shown.language].crop[String(crop).replace(/ /g, "_")] || String(crop);
const marks = () => ({ decimal: word("locale.decimal"), thousands: word("locale.thousands") });
export const number = (value, digits = 0) => numberText(value, digits, marks());

export function quantity(value, kind) {
  if (value === null || value === undefined) return word("measure.no_data");
  const { number: written, unit } = quantityText(value, kind, told.quantities, marks());
  return `${written} ${word(`unit.${unit}`)}`;
}

export function day(text, form = told.units === "us" ? "locale.date" : "locale.date_metric") {
  const [year, month, number_] = text.split("-").map(Number);
  return word(form, { day: number_, month: word("locale.months").split(" ")[month - 1], year });
}

const shortDay = (text) => day(text, "locale.day_month");

export function visitText([first, last]) {
  if (first === last) return day(last);
  if (first.slice(0, 7) !== last.slice(0, 7)) return word("locale.span", { first: day(first), last: day(last) });
  const [year, month] = first.split("-").map(Number);
  const name = word("locale.months_long").split(" ")[month - 1];
  return word(told.units === "us" ? "locale.span_month" : "locale.span_month_metric", { first: Number(first.slice(8)), last: Number(last.slice(8)), month: name, year });
}

// How old a visit is, by the calendar of this device; nothing where its clock is behind.
export function ageText([, last]) {
  const now = new Date(), today = [now.getFullYear(), now.getMonth() + 1, now.getDate()].map((part) => String(part).padStart(2, "0")).join("-");
  const days = daysFrom(last, today);
  return days < 0 ? "" : days === 0 ? word("ranch.today") : word("ranch.age", { days });
}

export function figure({ stress, block }) {
  if (stress === null) return word("measure.unknown");
  const value = number(Math.abs(stress), 1), side = stress < 0 ? "_wet" : "";
  const text = word(`measure.short_${block.ranch.rankBy}${value === number(0, 1) ? "_even" : side}`, { value });
  return block.readings ? text : word("measure.guess", { figure: text });
}

// When the next water is due, never without its range.
export function dueText({ due, early, late, block }) {
  const [, visit] = block.ranch.visit;
  if (due === null) return early === null ? null : word("valve.due_later", { early: shortDay(early) });
  if (due <= visit) return word("valve.due_now");
  const first = shortDay(early === null || early < visit ? visit : early);
  return late === null ? word("valve.due_from", { day: shortDay(due), early: first }) : word("valve.due", { day: shortDay(due), early: first, late: shortDay(late) });
}

// What is wrong (part 0) or what to do (part 1): in the reader's language where there are words for it, else in English.
export function problemPart({ problems, said }, at, part) {
  const own = shown.language === "en" ? null : said?.[shown.language]?.[at]?.[part];
  return named(`${own ?? problems[at][3 + part]}.`, { lang: own ? shown.language : "en" });
}

export const lookName = (code) => (code === PAST ? "past" : code === 0 ? "none" : String(code));
export const lookOf = (code) => (code === PAST ? { fill: told.style.past.fill, ink: "#ffffff" } : code === 0 ? told.style.none : told.style.priority[code]);
export const shortOf = (code) => (code === 0 ? "?" : word("priority.short", { number: code === PAST ? 1 : code }));
export const titleOf = (code) => (code === PAST ? word("past.short", { short: shortOf(code) }) : `${shortOf(code)} ${word(code === 0 ? "priority.none" : `priority.p${code}`)}`);

export function chip(code, text = titleOf(code)) {
  const { fill, ink } = lookOf(code);
  return make("span", { class: code === PAST ? "chip past" : "chip", text, style: { background: fill, color: ink } });
}
