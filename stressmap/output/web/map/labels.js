// Puts labels on the map anew whenever it comes to rest; placement.js decides where.
import { make } from "./elements.js";
import { Outline, boxAt, holdsPoint, middleOf, sizeOf } from "./geometry.js";
import { changeColour, inRankOrder, priorityOf } from "./listing.js";
import { Placement, isSmudge } from "./placement.js";
import { NO_RANK, lookOf, ranch, shortOf, shown, signedNumber } from "./shared.js";

export const MOST_CHANGE = 4; // Bar of change at the ends of the ramp.
export const FAINT = 4; // Radius of a dot in pixels below which readings are left to the closer view.
export const DIAMOND = 14; // From the middle to a corner, in pixels.
const HALO = 3;
const CONTROLS = "#north, #layers > summary, #tools > button, .leaflet-control-scale-line";

const signed = (change) => (change ? signedNumber(change.bar) : "?");
export const changeFill = (change) => changeColour(change, ranch.style.changeRamp, MOST_CHANGE, ranch.style.none.fill);
const boxOf = (a, b) => ({ left: Math.min(a.x, b.x), top: Math.min(a.y, b.y), right: Math.max(a.x, b.x), bottom: Math.max(a.y, b.y) });

export class MapLabels {
  constructor(map, drawing) {
    this.map = map;
    this.drawing = drawing;
    this.written = [];
    this.placed = [];
    this.widths = new Map();
    this.pen = document.createElement("canvas").getContext("2d");
    this.family = getComputedStyle(document.body).fontFamily;
    for (const pane of ["ranks", "names"]) map.getPane(pane).setAttribute("aria-hidden", "true");
    map.on("moveend", () => this.place());
  }

  place() {
    for (const label of this.written) label.remove();
    this.written = [];
    const { map } = this, corner = map.containerPointToLayerPoint([0, 0]), points = this.pointsShown();
    const stops = ranch.round ? points.filter(({ spot }) => spot) : []; // Of a round none may be missing: labels keep off them.
    const placement = new Placement({
      view: boxOf(corner, corner.add(map.getSize())), taken: [...this.controls(), ...stops.map(({ core }) => core)], points: points.map(({ box }) => box),
      widthOf: (text, font) => this.widthOf(text, font), chosen: shown.chosen?.item, besideNames: shown.layers.names,
    });
    const outlines = new Map(this.inView(this.drawing.shapes.valves));
    const valves = inRankOrder(outlines.keys(), shown.chosen?.item).map((valve) => [valve, outlines.get(valve)]);
    if (shown.layers.ranks) placement.placeRanks(valves);
    if (shown.layers.names) placement.placeNames(valves, this.inView(this.drawing.shapes.blocks));
    this.placed = placement.placed;
    for (const label of this.placed) this.write(label);
    this.clearSmudges(points.filter((point) => !stops.includes(point)), placement.taken);
  }

  controls() {
    const { left, top } = this.map.getContainer().getBoundingClientRect();
    const rects = [...document.querySelectorAll(CONTROLS)].map((control) => control.getBoundingClientRect());
    const point = (x, y) => this.map.containerPointToLayerPoint([x - left, y - top]);
    return rects.filter((r) => r.width).map((r) => boxOf(point(r.left, r.top), point(r.right, r.bottom)));
  }

  pointsShown() {
    const { shapes, dotRadius } = this.drawing, view = this.map.getBounds().pad(0.1);
    if (dotRadius < FAINT) return [];
    const marks = shapes.dots.filter(({ kind }) => shown.layers[kind]).map(({ reading, dots }) => [reading.at, dotRadius, dots]);
    if (shown.layers.again) marks.push(...shapes.again.map(({ spot, dots }) => [spot.at, DIAMOND, dots, spot]));
    return marks.filter(([at]) => view.contains(at)).map(([at, radius, dots, spot]) => {
      const { x, y } = this.map.latLngToLayerPoint(at);
      return { box: boxAt(x, y, 2 * radius, 2 * radius), core: boxAt(x, y, radius, radius), dots, spot };
    });
  }

  clearSmudges(points, taken) {
    for (const { core, dots } of points) {
      const smudge = isSmudge(core, taken);
      for (const dot of dots) dot.getElement()?.classList.toggle("smudge", smudge);
    }
  }

  inView(shapes) {
    const view = this.map.getBounds();
    return [...shapes].filter(([, shape]) => shape.getBounds().intersects(view)).map(([item, shape]) => [item, this.outlineOf(item, shape)]);
  }

  outlineOf(item, shape) {
    const project = (at) => this.map.latLngToLayerPoint(at), box = shape.getBounds();
    return new Outline({
      box: boxOf(project(box.getNorthWest()), project(box.getSouthEast())),
      at: item.at ? project(item.at) : null,
      ringsOf: () => shape.getLatLngs().flat().map((ring) => ring.map(project)),
    });
  }

  // Whoever taps a number or a name means its valve.
  valveAt(point) {
    return this.placed.find(({ kind, box }) => kind !== "block" && holdsPoint(box, point))?.item;
  }

  write({ kind, item, name, font, box }) {
    const rank = kind === "rank", size = sizeOf(box), centre = middleOf(box);
    const html = rank ? rankBox(item) : make("div", { class: "written", dir: "auto", text: name, style: { font: `${font} ${this.family}` } });
    const icon = L.divIcon({ html, className: rank ? "rank-icon" : `map-name ${kind}-name`, iconSize: [size.x, size.y] });
    const at = this.map.layerPointToLatLng([centre.x, centre.y]);
    this.written.push(L.marker(at, { icon, pane: rank ? "ranks" : "names", interactive: false, keyboard: false }).addTo(this.map));
  }

  widthOf(name, font) {
    const key = `${font} ${name}`;
    if (!this.widths.has(key)) {
      this.pen.font = `${font} ${this.family}`;
      this.widths.set(key, Math.ceil(this.pen.measureText(name).width) + 2 * HALO + 1);
    }
    return this.widths.get(key);
  }
}

function rankBox(valve) {
  const priority = priorityOf(valve), look = lookOf(priority);
  return make("div", { class: "rank" },
    make("b", { text: valve.rank ?? NO_RANK }),
    shown.colourBy === "change"
      ? make("span", { text: priority === "none" ? shortOf(priority) : signed(valve.change), style: { background: priority === "none" ? look.fill : changeFill(valve.change), color: "#111" } })
      : make("span", { text: shortOf(priority), style: { background: look.fill, color: look.ink } }));
}
