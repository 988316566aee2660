// What is drawn on the map, and how it follows what the user chose.
import { byId, make } from "./elements.js";
import { DIAMOND, FAINT, MapLabels, changeFill } from "./labels.js";
import { kindOf, priorityOf } from "./listing.js";
import { lastRank, ranch, readingsBy, shown } from "./shared.js";
import { isPastLimit, rankColour } from "./standing.js";

const EDGE = "#14181c";
const FULL = ranch.basemap ? 0.82 : 1;

function unpack(polygons) {
  return polygons.map((rings) => rings.map((steps) => {
    const ring = [];
    let latitude = 0, longitude = 0;
    for (let i = 0; i < steps.length; i += 2) {
      latitude += steps[i];
      longitude += steps[i + 1];
      ring.push([latitude / 1e6, longitude / 1e6]);
    }
    return ring;
  }));
}

const CrossMarker = L.CircleMarker.extend({
  _updatePath() {
    const { x, y } = this._point, r = this._radius;
    this._renderer._setPath(this, `M${x - r} ${y - r}l${2 * r} ${2 * r}M${x - r} ${y + r}l${2 * r} ${-2 * r}`);
  },
});

const DiamondMarker = L.CircleMarker.extend({
  _updatePath() {
    const { x, y } = this._point, r = this._radius;
    this._renderer._setPath(this, `M${x} ${y - r}l${r} ${r}l${-r} ${r}l${-r} ${-r}z`);
  },
});

// A pale rim keeps the dark cross visible on dark zones.
function readingMarks(reading) {
  const look = { pane: "dots", radius: 5, color: EDGE, interactive: false, halo: 0 };
  if (reading.used) return [L.circleMarker(reading.at, { ...look, fillColor: "#fff", fillOpacity: 1, className: "reading reading-used" })];
  const name = kindOf(reading) === "others" ? "reading-other" : "reading-left-out";
  return [
    new CrossMarker(reading.at, { ...look, fill: false, halo: 4, color: "#fff", className: "reading-rim" }),
    new CrossMarker(reading.at, { ...look, fill: false, className: `reading ${name}` }),
  ];
}

export class RanchDrawing {
  constructor(map, choose) {
    this.map = map;
    if (ranch.basemap) L.tileLayer(ranch.basemap, { maxZoom: 20, maxNativeZoom: 18 }).addTo(map);
    this.choose = choose;
    this.shapes = { valves: new Map(), blocks: new Map(), zones: [], dots: [], again: [] };
    this.groups = {};
    this.drawn = new Set();
    for (const [name, z] of [["pictures", 350], ["zones", 400], ["past", 410], ["blocks", 430], ["dots", 450], ["numbers", 455], ["chosen", 460], ["names", 610], ["ranks", 620]]) {
      const pane = map.createPane(name);
      pane.style.zIndex = z;
      if (name !== "zones") pane.style.pointerEvents = "none";
    }
    this.addPolygons();
    this.addPictures();
    this.addPoints();
    this.labels = new MapLabels(map, this);
    map.on("zoomend", () => this.sizePoints());
    map.on("click", (event) => this.tapped(event, null));
  }

  addPolygons() {
    const zones = L.layerGroup(), valves = L.layerGroup(), blocks = L.layerGroup();
    for (const valve of ranch.valves) {
      const shape = L.polygon(unpack(valve.shape), this.fillOf(priorityOf(valve)));
      shape.on("click", (event) => this.tapped(event, { kind: "valve", item: valve }));
      this.shapes.valves.set(valve, shape.addTo(valves));
    }
    for (const zone of ranch.zones) {
      const shape = L.polygon(unpack(zone.shape), this.fillOf(priorityOf(zone)));
      shape.on("click", (event) => this.tapped(event, { kind: "zone", item: zone }));
      this.shapes.zones.push(shape.addTo(zones));
    }
    // Over the picture of stress, a block without readings is covered: what the model says there is no map.
    const bare = L.layerGroup();
    for (const block of ranch.blocks.filter((b) => b.readings === 0)) {
      L.polygon(unpack(block.shape), { ...this.fillOf("none"), pane: "blocks", weight: 0, interactive: false, className: "bare" }).addTo(bare);
    }
    for (const block of ranch.blocks) {
      const edge = L.polygon(unpack(block.shape), { pane: "blocks", fill: false, color: EDGE, weight: 3, interactive: false, className: "block-edge" });
      this.shapes.blocks.set(block, edge.addTo(blocks));
    }
    Object.assign(this.groups, { valves, zones, bare, blocks, past: this.pastShapes() });
    blocks.addTo(this.map);
    this.bounds = L.featureGroup([...blocks.getLayers(), ...valves.getLayers()]).getBounds();
  }

  // Bands and a thick edge over whatever colour the zone has.
  pastShapes() {
    const look = { pane: "past", color: EDGE, fillColor: "url(#past-bands)", fillOpacity: 1, interactive: false, className: "past-limit" };
    this.shapes.past = ranch.valves.filter(isPastLimit).map((valve) => L.polygon(unpack(valve.shape), look));
    return L.layerGroup(this.shapes.past);
  }

  fillOf(priority) {
    return {
      pane: "zones", color: EDGE, weight: 1.2, opacity: 0.9, fillOpacity: FULL, fillColor: `url(#fill-${priority})`,
      className: `zone zone-${priority}`, smoothFactor: 0.5,
    };
  }

  addPictures() {
    for (const [name, image] of Object.entries(ranch.images)) {
      const [south, west, north, east] = image.corners;
      this.groups[name] = L.imageOverlay(image.uri, [[south, west], [north, east]], { pane: "pictures", className: "picture" });
    }
  }

  addPoints() {
    for (const kind of ["others", "leftOut", "used"]) this.groups[kind] = L.layerGroup();
    for (const kind of ["leftOut", "used"]) this.addReadings(kind);
    const again = L.layerGroup();
    for (const [place, spot] of ranch.again.entries()) {
      const options = { pane: "dots", radius: DIAMOND, color: EDGE, weight: 2.5, fillColor: "#7fe0d0", fillOpacity: 1, interactive: false, className: "again" };
      const icon = L.divIcon({ html: make("b", { text: place + 1 }), className: "again-number", iconSize: [24, 24] });
      const number = L.marker(spot.at, { icon, pane: "numbers", interactive: false, keyboard: false });
      this.shapes.again.push({ dots: [new DiamondMarker(spot.at, options), number].map((dot) => dot.addTo(again)), spot });
    }
    this.groups.again = again;
  }

  addReadings(kind) {
    for (const reading of readingsBy[kind].filter((r) => r.at)) {
      this.shapes.dots.push({ dots: readingMarks(reading).map((dot) => dot.addTo(this.groups[kind])), reading, kind });
    }
    this.drawn.add(kind);
  }

  // A gloved finger is wider than a dot: the nearest one within its reach is meant, else the zone under it.
  tapped(event, under) {
    L.DomEvent.stopPropagation(event);
    const tap = this.map.latLngToLayerPoint(event.latlng), labelled = this.labels.valveAt(tap);
    if (labelled) return this.choose({ kind: "valve", item: labelled }, { fromMap: true });
    let best = null, reach = this.dotRadius < FAINT ? 0 : Math.min(22, this.dotRadius * 2.6);
    const points = [];
    if (shown.layers.again) points.push(...this.shapes.again.map(({ spot }) => ({ kind: "again", item: spot })));
    for (const { reading, kind } of this.shapes.dots) if (shown.layers[kind]) points.push({ kind: "reading", item: reading });
    for (const point of points) {
      const away = tap.distanceTo(this.map.latLngToLayerPoint(point.item.at));
      if (away < reach) [best, reach] = [point, away];
    }
    const meant = best || under;
    return meant && this.choose(meant, { fromMap: true });
  }

  // Seen from afar, dots and thick lines would bury the zones they belong to.
  sizePoints() {
    const equator = 40075016, tile = 8;
    const metres = (equator * Math.cos((this.map.getCenter().lat * Math.PI) / 180)) / 2 ** (this.map.getZoom() + tile);
    this.dotRadius = Math.min(8, 9 / Math.sqrt(metres));
    for (const pane of ["dots", "numbers"]) this.map.getPane(pane).style.display = this.dotRadius < FAINT ? "none" : "";
    const edge = this.dotRadius < FAINT ? this.dotRadius / 2 : 3;
    for (const shape of this.shapes.blocks.values()) shape.setStyle({ weight: edge });
    for (const shape of this.shapes.valves.values()) shape.setStyle({ weight: Math.min(1.2, this.dotRadius / 3) });
    for (const shape of this.shapes.past) shape.setStyle({ weight: edge });
    for (const { dots } of this.shapes.dots) {
      for (const dot of dots) dot.setStyle({ weight: 2.4 + dot.options.halo }).setRadius(this.dotRadius);
    }
  }

  show() {
    const { map, groups } = this, by = shown.colourBy;
    const wanted = {
      valves: true, past: by === "valves" || by === "rank", zones: by === "zones", surface: by === "surface", bare: by === "surface", uncertainty: by === "uncertainty",
      others: shown.layers.others, leftOut: shown.layers.leftOut, used: shown.layers.used, again: shown.layers.again,
    };
    // Those of other visits may be thousands: they are drawn when they are first asked for.
    if (shown.layers.others && !this.drawn.has("others")) this.addReadings("others");
    for (const [name, on] of Object.entries(wanted)) {
      if (!groups[name]) continue;
      if (on) groups[name].addTo(map);
      else map.removeLayer(groups[name]);
    }
    for (const [valve, shape] of this.shapes.valves) shape.setStyle(this.valveStyle(valve, by));
    if (by === "zones") for (const shape of this.shapes.zones) shape.bringToFront();
    this.sizePoints();
    this.mark();
  }

  valveStyle(valve, by) {
    if (!["valves", "change", "rank"].includes(by)) return { fillColor: "#fff", fillOpacity: 0.001, dashArray: "5 4" };
    const unknown = priorityOf(valve) === "none";
    if (by === "change" && !unknown) return { fillColor: changeFill(valve.change), fillOpacity: 1, dashArray: null };
    if (by === "rank" && !unknown && valve.rank !== null) return { fillColor: rankColour(valve.rank, lastRank, ranch.style.rankRamp), fillOpacity: 1, dashArray: null };
    const fillColor = isPastLimit(valve) ? ranch.style.past.fill : `url(#fill-${priorityOf(valve)})`;
    return { fillColor, fillOpacity: FULL, dashArray: null };
  }

  mark() {
    this.ring?.remove();
    this.ring = shown.chosen && this.ringOf(shown.chosen.item);
    this.ring?.addTo(this.map);
    this.labels.place();
  }

  ringOf({ shape, at }) {
    const look = { pane: "chosen", fill: false, interactive: false, className: "chosen" };
    if (!shape) return at && L.circleMarker(at, { ...look, radius: 17, color: "#0a58ca", weight: 5 });
    return L.layerGroup([L.polygon(unpack(shape), { ...look, color: "#fff", weight: 9 }), L.polygon(unpack(shape), { ...look, color: "#0a58ca", weight: 5 })]);
  }

  goTo({ item }) {
    if (item.shape) {
      this.map.fitBounds(L.polygon(unpack(item.shape)).getBounds(), { maxZoom: 17, paddingTopLeft: [30, 30], paddingBottomRight: [80, 30], animate: false });
    } else if (item.at) {
      this.map.setView(item.at, Math.max(this.map.getZoom(), 17), { animate: false });
    }
  }

  whole() {
    if (!this.bounds.isValid()) return;
    const { left, width } = byId("tools").getBoundingClientRect();
    const buttons = width ? this.map.getContainer().getBoundingClientRect().right - left : 0;
    const zoomUnder = (top) => this.map.getBoundsZoom(this.bounds, false, L.point(buttons + 28, top + 14));
    const top = zoomUnder(66) < zoomUnder(14) ? 14 : 66; // Clear of the north arrow where that costs nothing.
    this.map.fitBounds(this.bounds, { paddingTopLeft: [14, top], paddingBottomRight: [buttons + 14, 14], animate: false });
    this.home = { centre: this.map.getCenter(), zoom: this.map.getZoom() };
  }

  // Whether nobody has moved the map since it showed the whole ranch; a map that changes its size keeps its middle to a pixel or two.
  atHome() {
    const { map, home } = this;
    return Boolean(home) && map.getZoom() === home.zoom && map.project(map.getCenter()).distanceTo(map.project(home.centre)) <= 2;
  }
}
