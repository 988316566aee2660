// Elements of a page, the signs of priorities, and the patterns that signs and maps are filled with.

// Text goes in as text, never as markup: names come from files.
export function make(tag, options, ...children) {
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

export const named = (text, options) => make("bdi", { ...options, text });
export const byId = (id) => document.getElementById(id);

export const SVG = "http://www.w3.org/2000/svg";

export function draw(tag, attributes, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

export function swatch(priority) {
  const picture = draw("svg", { class: "swatch", viewBox: "0 0 28 28", "aria-hidden": "true" });
  picture.append(draw("rect", { x: 1, y: 1, width: 26, height: 26, fill: `url(#fill-${priority})` }));
  return picture;
}

// Bands for over any fill, their dark rims keeping them visible on pale ones, and the same on the fill for swatches.
function pastPatterns({ fill, band }) {
  return [["past-bands", "none"], ["fill-past", fill]].map(([id, ground]) => draw("pattern", { id, width: 12, height: 12, patternUnits: "userSpaceOnUse" },
    draw("rect", { width: 12, height: 12, fill: ground }), draw("rect", { y: 3, width: 12, height: 6, fill: "#14181c" }), draw("rect", { y: 4, width: 12, height: 4, fill: band })));
}

// What is drawn over the fill of a priority, on a tile of ten by ten.
export const STROKES = { cross: ["M0 0L10 10M10 0L0 10", 1], slant: ["M-2 2L2 -2M0 10L10 0M8 12L12 8", 1.4], open: ["M0 0V10", 2] };

// Patterns are defined once for the page; the map's shapes and the swatches share them.
export function patternDefinitions(style) {
  const list = draw("defs", {});
  for (const priority of ["1", "2", "3", "4", "none"]) {
    const look = priority === "none" ? style.none : style.priority[priority];
    const light = look.ink === "#ffffff";
    const mark = { stroke: light ? "#fff" : "#222", "stroke-opacity": light ? 0.5 : 0.45, fill: "none" };
    const tile = draw("pattern", { id: `fill-${priority}`, width: 10, height: 10, patternUnits: "userSpaceOnUse" });
    tile.append(draw("rect", { width: 10, height: 10, fill: look.fill }));
    const [d, width] = STROKES[look.pattern] ?? [];
    if (d) tile.append(draw("path", { ...mark, d, "stroke-width": width }));
    if (look.pattern === "dots") tile.append(draw("circle", { cx: 5, cy: 5, r: 1.3, fill: "#222", "fill-opacity": 0.55 }));
    list.append(tile);
  }
  list.append(...pastPatterns(style.past));
  return draw("svg", { width: 0, height: 0, "aria-hidden": "true", style: "position:absolute" }, list);
}
