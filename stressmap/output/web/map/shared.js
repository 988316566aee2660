"use strict";

// What every part of the page uses: the data, the words of the language shown, numbers, elements.
const ranch = JSON.parse(document.getElementById("ranch-data").textContent);
const shown = {
  language: document.documentElement.lang,
  colourBy: "valves",
  layers: { used: true, leftOut: true, others: false, ranks: true, names: true, again: true },
  chosen: null,
  query: "",
};
const LOCALE = { en: ranch.units === "us" ? "en-US" : "en-GB", es: "es-MX" };
const METRES_PER_FOOT = 0.3048, HA_PER_ACRE = 0.40468564224;

function word(key, values) {
  const [section, name] = key.split(".");
  const text = ranch.words[shown.language][section][name];
  return text.replace(/\{(\w+)\}/g, (_, part) => (values && part in values ? String(values[part]) : ""));
}

// A crop, flag or method that the words do not know is a name, and stays as it is.
function known(section, name) {
  return ranch.words[shown.language][section][String(name).replace(/ /g, "_")] || String(name);
}

function number(value, digits = 1) {
  if (value === null || value === undefined) return word("measure.no_data");
  const text = Math.abs(value).toFixed(digits);
  const [whole, rest] = text.split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, word("locale.thousands"));
  const sign = value < 0 && Number(text) !== 0 ? "\u2212" : "";
  return sign + grouped + (rest ? word("locale.decimal") + rest : "");
}

const bar = (value) => (value === null ? word("measure.no_data") : word("card.bars", { value: number(value) }));

function percent(share) {
  if (share === null) return word("measure.no_data");
  let whole = Math.round(100 * share);
  if (whole === 0 && share > 0) whole = 1;
  if (whole === 100 && share < 1) whole = 99;
  return word("card.percent", { value: whole });
}

function area(hectares) {
  if (hectares === null) return word("measure.no_data");
  return ranch.units === "us"
    ? word("card.acres", { value: number(hectares / HA_PER_ACRE) })
    : word("card.hectares", { value: number(hectares, 2) });
}

function distance(metres) {
  return ranch.units === "us"
    ? word("card.feet", { value: number(metres / METRES_PER_FOOT, 0) })
    : word("card.metres", { value: number(metres, 0) });
}

// Clock time is the ranch's; the phone's own zone has no say in it.
function day(text) {
  if (!text) return word("measure.no_data");
  const [date, clock] = text.split("T");
  const [year, month, number_] = date.split("-").map(Number);
  if (!number_) return text;
  const form = ranch.units === "us" ? "locale.date" : "locale.date_metric";
  const name = word("locale.months").split(" ")[month - 1];
  const written = word(form, { day: number_, month: name, year });
  return clock ? word("locale.at_time", { date: written, clock }) : written;
}

function visitDays() {
  const [first, last] = ranch.visit;
  return first === last ? day(first) : word("locale.span", { first: day(first), last: day(last) });
}

function figure(stress) {
  if (stress === null) return word("measure.unknown");
  const wet = stress < 0 ? "_wet" : "";
  return word(`measure.short_${ranch.rankBy}${wet}`, { value: number(Math.abs(stress)) });
}

// Without a reading in its block a valve has a guess but no priority that may be shown as known.
const priorityOf = (thing) => (thing.measured === false || thing.priority === null ? "none" : thing.priority);
const labelOf = (priority) => word(priority === "none" ? "priority.none" : `priority.p${priority}`);
const lookOf = (priority) => (priority === "none" ? ranch.style.none : ranch.style.priority[priority]);
// Readings of other visits were never meant for this map; they are not among those left out of it.
const kindOf = (reading) => (reading.used ? "used" : reading.flags.includes("outside_visit") ? "others" : "leftOut");
const readingsBy = { used: [], leftOut: [], others: [] };
for (const reading of ranch.readings) readingsBy[kindOf(reading)].push(reading);
const shortOf = (priority) => (priority === "none" ? "?" : word("priority.short", { number: priority }));

// Text goes in as text, never as markup: names come from files.
function make(tag, options, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(options || {})) {
    if (name === "text") element.textContent = value;
    else if (name === "on") for (const [kind, act] of Object.entries(value)) element.addEventListener(kind, act);
    else if (name === "style") Object.assign(element.style, value);
    else if (value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

const NO_RANK = "\u2013";
const tieText = ([first, last]) => word("list.tied", { first, last });
const named = (text, options) => make("bdi", { ...options, text });
const byId = (id) => document.getElementById(id);

const SVG = "http://www.w3.org/2000/svg";

function draw(tag, attributes, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

function swatch(priority) {
  const picture = draw("svg", { class: "swatch", viewBox: "0 0 28 28", "aria-hidden": "true" });
  picture.append(draw("rect", { x: 1, y: 1, width: 26, height: 26, fill: `url(#fill-${priority})` }));
  return picture;
}

// Patterns are defined once for the page; the map's shapes and the swatches share them.
function patternDefinitions() {
  const list = draw("defs", {});
  for (const priority of ["1", "2", "3", "4", "none"]) {
    const look = lookOf(priority);
    const light = look.ink === "#ffffff";
    const mark = { stroke: light ? "#fff" : "#222", "stroke-opacity": light ? 0.5 : 0.45, fill: "none" };
    const tile = draw("pattern", { id: `fill-${priority}`, width: 10, height: 10, patternUnits: "userSpaceOnUse" });
    tile.append(draw("rect", { width: 10, height: 10, fill: look.fill }));
    if (look.pattern === "cross") tile.append(draw("path", { ...mark, d: "M0 0L10 10M10 0L0 10" }));
    if (look.pattern === "slant") tile.append(draw("path", { ...mark, d: "M-2 2L2 -2M0 10L10 0M8 12L12 8", "stroke-width": 1.4 }));
    if (look.pattern === "dots") tile.append(draw("circle", { cx: 5, cy: 5, r: 1.3, fill: "#222", "fill-opacity": 0.55 }));
    if (look.pattern === "open") tile.append(draw("path", { ...mark, d: "M0 0V10", "stroke-width": 2 }));
    list.append(tile);
  }
  return draw("svg", { width: 0, height: 0, "aria-hidden": "true", style: "position:absolute" }, list);
}
