// What every screen uses: the ranch, the day's work, words, elements, and the one way to store something.
import { clock, day } from "./clock.js";
import { randomId } from "./log.js";
import { fold } from "./record.js";
import { filled, numberText } from "./words.js";

export const app = { data: null, log: null, events: [], work: null, language: "en", screen: { name: "trees" }, fix: null, fixProblem: "", kept: null };
// What the page does when something changes; main.js fills it in.
export const hooks = { draw: null };

export const byId = (id) => document.getElementById(id);
export const now = () => Date.now();
export const zone = () => app.data.ranch.zone;
export const today = () => day(now(), zone());
export const clockOf = (moment) => clock(moment, zone());

export function word(path, values) {
  const [section, name] = path.split(".");
  return filled(app.data.words[app.language][section][name], values);
}

export const cropName = (crop) => app.data.words[app.language].crop[crop] || crop;
export const number = (value, digits) => numberText(value, digits, word("locale.decimal"));
export const asTyped = (text) => text.replace(".", word("locale.decimal"));

// Text goes in as text, never as markup: names come from files.
export function make(tag, options, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(options || {})) {
    if (name === "text") element.textContent = value;
    else if (name === "on") for (const [kind, act] of Object.entries(value)) element.addEventListener(kind, act);
    else if (value !== null && value !== undefined && value !== false) element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

export const named = (text) => make("bdi", { text });

export function key(text, act, options = {}) {
  return make("button", { type: "button", ...options, text, on: { click: act } });
}

export function dayText(text) {
  const [year, month, date] = text.split("-").map(Number);
  const weekday = word("locale.weekdays").split(" ")[(new Date(Date.UTC(year, month - 1, date)).getUTCDay() + 6) % 7];
  return `${weekday} ${word("locale.day_month", { day: date, month: word("locale.months").split(" ")[month - 1] })}`;
}

const STEADY_MS = 500;
let pressedAt = -STEADY_MS;

// A glove taps twice, and the list has moved up by then: what stores something is done once in half a second.
export const steadied = (act) => (...given) => {
  if (performance.now() - pressedAt < STEADY_MS) return null;
  pressedAt = performance.now();
  return act(...given);
};

// Bars of the gauge's figure, and the gauge's figure of bars.
const perUnit = () => app.data.rules.barPerUnit;
export const toBar = (figure) => (figure === null ? null : figure * perUnit());
export function ofGauge(bar) {
  return word("unit.figure", { figure: number(bar / perUnit(), app.data.rules.shownDecimals), unit: app.data.rules.unit });
}

const FOOT_M = 0.3048;

// A length on the ground, as the ranch's people measure it.
export function lengthText(metres) {
  const { length } = app.data.ranch;
  return word(`unit.${length}`, { figure: Math.round(length === "feet" ? metres / FOOT_M : metres) });
}

export function refold() {
  app.work = fold(app.events, zone());
}

// Adds events; nothing is shown as done before it is on the disk.
export async function store(...happened) {
  const events = happened.map((event) => ({ id: randomId(), at: now(), ...event }));
  try {
    await app.log.add(events);
  } catch (error) {
    tell(word("said.not_stored", { why: error ? error.name : "" }));
    return false;
  }
  app.events.push(...events);
  refold();
  return true;
}

export function show(name, more = {}) {
  app.screen = { name, ...more };
  byId("said").replaceChildren();
  hooks.draw();
  window.scrollTo(0, 0);
}

const SHOWN_FOR = 12000;
let hiding = 0;

// A line at the foot of the page, with what takes the last step back, or another answer to it.
export function tell(text, answer = null, name = "key.undo") {
  window.clearTimeout(hiding);
  const act = async () => { byId("said").replaceChildren(); await answer(); };
  byId("said").replaceChildren(make("p", { text }), ...(answer ? [key(word(name), act, { id: "undo" })] : []));
  hiding = window.setTimeout(() => byId("said").replaceChildren(), SHOWN_FOR);
}

export const storeAndDraw = async (...events) => {
  const done = await store(...events);
  hooks.draw();
  return done;
};

// Who measures today, as stored once a day.
export const dayEntry = () => app.work.days.get(today()) || null;
