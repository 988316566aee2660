// What is drawn on the map, and how it follows what the user chose.
const EDGE = "#14181c";
const LABEL = { height: 40, gap: 3, wide: 52, slim: 36, least: 20 };
const FIRST_RANKS = 20;
const MOST_CHANGE = 4;
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
    const { x, y } = this._point, r = this._radius * 1.3;
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

class RanchDrawing {
  constructor(map, choose) {
    this.map = map;
    if (ranch.basemap) L.tileLayer(ranch.basemap, { maxZoom: 20, maxNativeZoom: 18 }).addTo(map);
    this.choose = choose;
    this.shapes = { valves: new Map(), zones: [], dots: [], again: [] };
    this.groups = {};
    this.labels = [];
    for (const [name, z] of [["pictures", 350], ["zones", 400], ["blocks", 430], ["dots", 450], ["numbers", 455], ["chosen", 460], ["ranks", 620]]) {
      const pane = map.createPane(name);
      pane.style.zIndex = z;
      if (name !== "zones") pane.style.pointerEvents = "none";
    }
    this.addPolygons();
    this.addPictures();
    this.addPoints();
    map.on("zoomend moveend resize", () => this.placeRanks());
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
      L.polygon(unpack(block.shape), { pane: "blocks", fill: false, color: EDGE, weight: 3, interactive: false, className: "block-edge" }).addTo(blocks);
    }
    Object.assign(this.groups, { valves, zones, bare, blocks });
    blocks.addTo(this.map);
    this.bounds = L.featureGroup([...blocks.getLayers(), ...valves.getLayers()]).getBounds();
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
    for (const kind of ["others", "leftOut", "used"]) {
      this.groups[kind] = L.layerGroup();
      for (const reading of readingsBy[kind].filter((r) => r.at)) {
        this.shapes.dots.push({ dots: readingMarks(reading).map((dot) => dot.addTo(this.groups[kind])), reading, kind });
      }
    }
    const again = L.layerGroup();
    for (const [place, spot] of ranch.again.entries()) {
      const options = { pane: "dots", radius: 9, color: EDGE, weight: 2.5, fillColor: "#7fe0d0", fillOpacity: 1, interactive: false, className: "again" };
      this.shapes.again.push({ dot: new DiamondMarker(spot.at, options).addTo(again), spot });
      const icon = L.divIcon({ html: make("b", { text: place + 1 }), className: "again-number", iconSize: [24, 24] });
      L.marker(spot.at, { icon, pane: "numbers", interactive: false, keyboard: false }).addTo(again);
    }
    this.groups.again = again;
  }

  // A gloved finger is wider than a dot: the nearest one within its reach is meant, else the zone under it.
  tapped(event, under) {
    L.DomEvent.stopPropagation(event);
    const tap = this.map.latLngToLayerPoint(event.latlng);
    let best = null, reach = this.dotRadius < 3 ? 0 : Math.min(22, this.dotRadius * 2.6);
    const points = [];
    if (shown.layers.again) points.push(...this.shapes.again.map(({ spot }) => ({ kind: "again", item: spot })));
    for (const { reading, kind } of this.shapes.dots) if (shown.layers[kind]) points.push({ kind: "reading", item: reading });
    for (const point of points) {
      const away = tap.distanceTo(this.map.latLngToLayerPoint(point.item.at));
      if (away < reach) [best, reach] = [point, away];
    }
    const meant = best || under;
    if (meant) this.choose(meant, { fromMap: true });
  }

  // Seen from afar, dots and thick lines would bury the zones they belong to.
  sizePoints() {
    const equator = 40075016, tile = 8;
    const metres = (equator * Math.cos((this.map.getCenter().lat * Math.PI) / 180)) / 2 ** (this.map.getZoom() + tile);
    this.dotRadius = Math.min(8, 9 / Math.sqrt(metres));
    for (const pane of ["dots", "numbers"]) this.map.getPane(pane).style.display = this.dotRadius < 3 ? "none" : "";
    this.groups.blocks.eachLayer((shape) => shape.setStyle({ weight: Math.min(3, this.dotRadius) }));
    for (const shape of this.shapes.valves.values()) shape.setStyle({ weight: Math.min(1.2, this.dotRadius / 3) });
    const line = this.dotRadius < 3.5 ? 1.2 : 2.4;
    for (const { dots } of this.shapes.dots) {
      for (const dot of dots) dot.setStyle({ weight: line + dot.options.halo }).setRadius(this.dotRadius);
    }
  }

  // From afar only the first ranks; and in their order, so that where boxes would cover each other the more urgent one stays.
  placeRanks() {
    for (const label of this.labels) label.remove();
    this.labels = [];
    if (!shown.layers.ranks) return;
    const view = this.map.getBounds().pad(0.02), taken = [];
    for (const valve of ranch.valves) {
      if (!view.contains(valve.at)) continue;
      const room = this.widthOf(valve);
      if ((valve.rank ?? Infinity) > FIRST_RANKS && room < LABEL.least) continue;
      const width = room < LABEL.wide && String(valve.rank).length < 3 ? LABEL.slim : LABEL.wide;
      const { x, y } = this.map.latLngToLayerPoint(valve.at);
      const crowded = taken.some((other) => Math.abs(other.x - x) < (other.width + width) / 2 + LABEL.gap && Math.abs(other.y - y) < LABEL.height + LABEL.gap);
      if (crowded) continue;
      taken.push({ x, y, width });
      this.labels.push(this.rankLabel(valve, width).addTo(this.map));
      if (taken.length >= 150) break;
    }
  }

  widthOf(valve) {
    const box = this.shapes.valves.get(valve).getBounds();
    return this.map.latLngToLayerPoint(box.getNorthEast()).x - this.map.latLngToLayerPoint(box.getSouthWest()).x;
  }

  rankLabel(valve, width) {
    const priority = priorityOf(valve), look = lookOf(priority);
    const box = make("div", { class: "rank" },
      make("b", { text: valve.rank ?? NO_RANK }),
      shown.colourBy === "change"
        ? make("span", { text: priority === "none" ? shortOf(priority) : signed(valve.change), style: { background: priority === "none" ? look.fill : changeColour(valve.change), color: "#111" } })
        : make("span", { text: shortOf(priority), style: { background: look.fill, color: look.ink } }));
    const icon = L.divIcon({ html: box, className: "rank-icon", iconSize: [width, LABEL.height] });
    return L.marker(valve.at, { icon, pane: "ranks", interactive: false, keyboard: false });
  }

  show() {
    const { map, groups } = this, by = shown.colourBy;
    const wanted = {
      valves: true, zones: by === "zones", surface: by === "surface", bare: by === "surface", uncertainty: by === "uncertainty",
      others: shown.layers.others, leftOut: shown.layers.leftOut, used: shown.layers.used, again: shown.layers.again,
    };
    for (const [name, on] of Object.entries(wanted)) {
      if (!groups[name]) continue;
      if (on) groups[name].addTo(map);
      else map.removeLayer(groups[name]);
    }
    for (const [valve, shape] of this.shapes.valves) shape.setStyle(this.valveStyle(valve, by));
    if (by === "zones") for (const shape of this.shapes.zones) shape.bringToFront();
    this.sizePoints();
    this.placeRanks();
    this.mark();
  }

  valveStyle(valve, by) {
    if (by === "valves") return { fillColor: `url(#fill-${priorityOf(valve)})`, fillOpacity: FULL, dashArray: null };
    if (by === "change" && priorityOf(valve) === "none") return { fillColor: "url(#fill-none)", fillOpacity: FULL, dashArray: null };
    if (by === "change") return { fillColor: changeColour(valve.change), fillOpacity: 1, dashArray: null };
    return { fillColor: "#fff", fillOpacity: 0.001, dashArray: "5 4" };
  }

  mark() {
    this.ring?.remove();
    this.ring = null;
    const chosen = shown.chosen;
    if (!chosen) return;
    const shape = chosen.item.shape;
    const look = { pane: "chosen", fill: false, interactive: false, className: "chosen" };
    this.ring = shape
      ? L.layerGroup([L.polygon(unpack(shape), { ...look, color: "#fff", weight: 9 }), L.polygon(unpack(shape), { ...look, color: "#0a58ca", weight: 5 })])
      : chosen.item.at && L.circleMarker(chosen.item.at, { ...look, radius: 17, color: "#0a58ca", weight: 5 });
    this.ring?.addTo(this.map);
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
    this.map.fitBounds(this.bounds, { paddingTopLeft: [14, 14], paddingBottomRight: [70, 14], animate: false });
    this.home = { centre: this.map.getCenter(), zoom: this.map.getZoom() };
  }

  atHome() {
    return this.home && this.map.getZoom() === this.home.zoom && this.map.getCenter().equals(this.home.centre, 1e-6);
  }
}

const signed = (change) => (!change ? "?" : (change.bar > 0 ? "+" : "") + number(change.bar));

function changeColour(change) {
  if (!change || change.bar === null) return ranch.style.none.fill;
  const ramp = ranch.style.changeRamp;
  if (!change.clear) return ramp[(ramp.length - 1) / 2];
  const share = (Math.max(-MOST_CHANGE, Math.min(MOST_CHANGE, change.bar)) / MOST_CHANGE + 1) / 2;
  return ramp[Math.round(share * (ramp.length - 1))];
}
