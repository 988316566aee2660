// What a check found, in words.
import { app, clockOf, lengthText, make, ofGauge, word } from "./page.js";

export function warningText({ code, at, metres, bar }) {
  const values = {
    at: at ? clockOf(at) : "", length: metres === undefined ? "" : lengthText(metres), off: bar === undefined ? "" : ofGauge(bar),
    from: app.data.rules.windowText[0], to: app.data.rules.windowText[1], minutes: app.data.rules.bagMinutes, unit: app.data.rules.unit,
  };
  return word(`warn.${code}`, values);
}

export function warnings(found) {
  const list = make("ul", { class: "warn" }, ...found.map((one) => make("li", { text: warningText(one) })));
  return make("div", { role: "status" }, found.length ? list : null);
}
