// The QR codes one after the other, to be photographed off this phone.
import { contents } from "./codes.js";
import { app, key, make, show, tell, word, zone } from "./page.js";
import { qrCode } from "./qr.js";

const SVG = "http://www.w3.org/2000/svg";
const QUIET = 4; // Modules of white around, as the standard asks.

export const canPack = () => "CompressionStream" in window;

function drawing(rows, label) {
  const side = rows.length + 2 * QUIET, picture = document.createElementNS(SVG, "svg"), path = document.createElementNS(SVG, "path");
  const dark = rows.map((row, y) => row.map((on, x) => (on ? `M${x + QUIET} ${y + QUIET}h1v1h-1z` : "")).join("")).join("");
  path.setAttribute("d", dark);
  for (const [name, value] of Object.entries({ viewBox: `0 0 ${side} ${side}`, role: "img", "aria-label": label, class: "code-picture", "shape-rendering": "crispEdges" })) picture.setAttribute(name, value);
  picture.append(path);
  return picture;
}

export async function showCodes(due, versions) {
  const codes = (await contents(due, zone(), app.data.ranch.temperature)).map(qrCode);
  if (codes.includes(null)) tell(word("said.too_long"));
  else show("codes", { codes, versions, at: 0 });
}

export function codesScreen({ codes, versions, at }) {
  const label = word("hand.code", { number: at + 1, count: codes.length }), last = at + 1 >= codes.length;
  const next = last ? key(word("key.all_taken"), () => show("arrived", { versions, way: "codes", parts: [] }), { class: "main wide", id: "codes-done" })
    : key(word("key.next"), () => show("codes", { codes, versions, at: at + 1 }), { class: "main wide", id: "codes-next" });
  const before = at ? key(word("key.back"), () => show("codes", { codes, versions, at: at - 1 }), { class: "wide" }) : key(word("key.back"), () => show("hand_over"), { class: "wide" });
  return make("div", { class: "card" }, make("h2", { text: label }), make("p", { text: word("hand.photograph") }), drawing(codes[at], label), next, before);
}
