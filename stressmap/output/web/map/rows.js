// Rows that lead to a card, and the marks beside them.
import { draw, make, named } from "./elements.js";
import { kindOf } from "./listing.js";
import { day, figure, hooks, known, pressureRead, word } from "./shared.js";

const flagTexts = (flags) => flags.map((code) => known("flag", code)).join("; ");
export const flagWords = (reading) => flagTexts(reading.flags);

export function rowButton(chosen, parts) {
  const button = make("button", { type: "button", class: "row" }, ...parts);
  button.addEventListener("click", () => hooks.choose(chosen));
  return make("li", {}, button);
}

const MARKS = {
  used: () => draw("circle", { cx: 10, cy: 10, r: 6 }),
  leftOut: () => draw("path", { d: "M4 4l12 12M16 4L4 16" }),
  others: () => draw("path", { d: "M4 4l12 12M16 4L4 16" }),
  again: () => draw("path", { class: "again", d: "M10 2l8 8-8 8-8-8z" }),
};

export function layerMark(name) {
  if (name === "ranks") return make("b", { class: "rank-key", text: "1", "aria-hidden": "true" });
  if (name === "names") return make("b", { class: "map-name name-key", text: "Ab", "aria-hidden": "true" });
  return draw("svg", { class: "mark", viewBox: "0 0 20 20", "aria-hidden": "true" }, MARKS[name]());
}

export function readingRow(reading) {
  if (kindOf(reading) === "others") return otherRow(reading);
  const name = reading.tree ?? word("list.reading_row", { row: reading.row });
  const flags = flagWords(reading);
  const second = [reading.at || reading.flags.includes("no_place") ? null : word("list.no_position"), flags || null, reading.used ? figure(reading.stress) : null].filter(Boolean).join(" · ");
  return rowButton({ kind: "reading", item: reading }, [
    layerMark(reading.used ? "used" : "leftOut"),
    make("span", { class: "name" }, named(name, { class: "main" }), make("small", { text: second })),
  ]);
}

// Of another visit: when, and what was read and meant then.
function otherRow(reading) {
  const flags = flagTexts(reading.flags.filter((code) => code !== "outside_visit"));
  const figures = [reading.pressure === null ? null : pressureRead(reading.pressure), reading.stress === null ? null : figure(reading.stress)];
  const second = [day(reading.time), ...figures, flags || null].filter(Boolean).join(" · ");
  return rowButton({ kind: "reading", item: reading }, [
    layerMark("others"),
    make("span", { class: "name" }, named(reading.tree ?? word("list.reading_row", { row: reading.row }), { class: "main" }), make("small", { text: second })),
  ]);
}
