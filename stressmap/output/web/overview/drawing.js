// The map: blocks of all ranches on one canvas, valve zones of those near enough, names of ranches, blocks and valves.
import { make } from "../map/elements.js";
import { boxAt, grown, holdsPoint, middleOf, overlaps, sizeOf } from "../map/geometry.js";
import { DEGREE, boxOf, holds, joinedBox, openZones } from "./coding.js";
import { firstRank, kept, worstOf } from "./order.js";
import { district, lookOf, shortOf } from "./page.js";
import { PatternCanvas } from "./pattern_canvas.js";

// Size of a block on the screen from which on its valve zones, and names, are shown [px].
const ZONES_FROM = 40;
const NAMES_FROM = 46;
const NAME_HEIGHT = 26;
const MOST_NAMES = 250;
const FONT = "700 14px system-ui, sans-serif";

const cornersOf = (rings) => rings.map((ring) => {
  const out = [];
  for (let i = 0; i < ring.length; i += 2) out.push([ring[i] / DEGREE, ring[i + 1] / DEGREE]);
  return out;
});

const bounds = ([south, west, north, east]) => L.latLngBounds([south / DEGREE, west / DEGREE], [north / DEGREE, east / DEGREE]);

// The usual height of a block, in degrees.
function usualHeight(blocks) {
  const heights = blocks.filter(({ box }) => box).map(({ box }) => box[2] - box[0]).sort((a, b) => a - b);
  return (heights[Math.floor(heights.length / 2)] ?? 300) / DEGREE;
}

export class DistrictDrawing {
  constructor(map, choose) {
    this.map = map;
    this.choose = choose;
    this.home = joinedBox(district.ranches.map(({ box }) => box));
    this.height = usualHeight(district.blocks);
    this.canvas = new PatternCanvas({ padding: 0.2 });
    this.zones = new Map();
    this.names = L.layerGroup().addTo(map);
    this.marks = [];
    this.ruler = document.createElement("canvas").getContext("2d");
    this.ruler.font = FONT;
    map.createPane("names").style.zIndex = 620;
    map.getPane("names").style.pointerEvents = "none";
    this.whole();
    for (const block of district.blocks) this.polygon(block, 1.2).addTo(map);
    map.on("moveend", () => this.settle());
    map.on("click", ({ latlng, layerPoint }) => this.tapped(latlng, layerPoint));
  }

  polygon({ rings, code }, weight) {
    return L.polygon(cornersOf(rings), { renderer: this.canvas, interactive: false, noClip: true, smoothFactor: 0.5, code, weight });
  }

  // How high a usual block is on the screen at this zoom [px]; worked out once a zoom, as every shape asks for it.
  blockSize() {
    const zoom = this.map.getZoom();
    if (zoom !== this.sizedAt) {
      const { lat } = this.map.getCenter();
      this.sizedAt = zoom;
      this.size = this.map.project([lat, 0], zoom).y - this.map.project([lat + this.height, 0], zoom).y;
    }
    return this.size;
  }

  // Where a box lies on the screen, y downwards.
  placed([south, west, north, east]) {
    const { x: left, y: top } = this.map.latLngToLayerPoint([north / DEGREE, west / DEGREE]);
    const { x: right, y: bottom } = this.map.latLngToLayerPoint([south / DEGREE, east / DEGREE]);
    return { left, top, right, bottom };
  }

  view() {
    const { min, max } = this.map.getPixelBounds(), origin = this.map.getPixelOrigin();
    return { left: min.x - origin.x, top: min.y - origin.y, right: max.x - origin.x, bottom: max.y - origin.y };
  }

  whole() {
    if (this.home) this.map.fitBounds(bounds(this.home), { paddingTopLeft: [24, 40], paddingBottomRight: [74, 24], maxZoom: 17, animate: false });
    else this.map.setView([0, 0], 2, { animate: false });
    this.atHome = [this.map.getCenter(), this.map.getZoom()];
  }

  // The map in another size: the whole district stays whole.
  resized() {
    const [centre, zoom] = this.atHome, home = this.map.getZoom() === zoom && this.map.getCenter().equals(centre, 1e-7);
    this.map.invalidateSize({ animate: false });
    if (home) this.whole();
  }

  goTo({ kind, box, rings, block }) {
    const its = kind === "valve" ? boxOf(rings ?? []) ?? block.box : box;
    const room = kind === "ranch" ? { paddingTopLeft: [12, 36], paddingBottomRight: [70, 12] } : { padding: [70, 70] };
    if (its) this.map.fitBounds(bounds(its), { ...room, maxZoom: 17, animate: false });
  }

  // What is shown once the map has come to rest.
  settle() {
    const view = this.view();
    const near = this.blockSize() >= ZONES_FROM ? district.ranches.filter(({ box }) => box && overlaps(this.placed(box), view)) : [];
    for (const [ranch, layer] of this.zones) {
      if (near.includes(ranch)) continue;
      layer.remove();
      this.zones.delete(ranch);
    }
    for (const ranch of near) {
      if (!this.zones.has(ranch) && openZones(ranch)) this.zones.set(ranch, this.zonesOf(ranch).addTo(this.map));
    }
    this.mark();
    this.placeNames(view);
  }

  // Valve zones cover their block; its edge is drawn over them again.
  zonesOf(ranch) {
    const valves = ranch.valves.map((valve) => this.polygon(valve, 1.2));
    const edges = ranch.blocks.map(({ rings }) => L.polygon(cornersOf(rings), { renderer: this.canvas, interactive: false, noClip: true, fill: false, color: "#14181c", weight: 3 }));
    return L.layerGroup([...valves, ...edges]);
  }

  mark(chosen = this.chosen) {
    this.chosen = chosen;
    this.ring?.remove();
    this.ring = null;
    const rings = !chosen ? null : chosen.kind === "ranch" ? null : chosen.rings ?? chosen.block?.rings;
    if (!rings?.length) return;
    const look = { renderer: this.canvas, interactive: false, noClip: true, fill: false };
    this.ring = L.layerGroup([["#fff", 8], ["#0a4fb3", 5]].map(([color, weight]) => L.polygon(cornersOf(rings), { ...look, color, weight }))).addTo(this.map);
  }

  placeNames(view) {
    this.names.clearLayers();
    this.marks = [];
    if (this.blockSize() < NAMES_FROM) this.nameRanches(view);
    else this.nameBlocks(view);
  }

  // Where buttons lie over the map.
  buttons(view) {
    const { left, top } = this.map.getContainer().getBoundingClientRect();
    return ["tools", "north"].map((id) => document.getElementById(id).getBoundingClientRect()).map((box) => ({
      left: box.left - left + view.left, top: box.top - top + view.top, right: box.right - left + view.left, bottom: box.bottom - top + view.top,
    }));
  }

  nameRanches(view) {
    const seen = district.ranches.filter(({ box }) => box).sort((a, b) => firstRank(a) - firstRank(b)).map((ranch) => ({ ranch, at: this.placed(ranch.box) })).filter(({ at }) => overlaps(at, view));
    const boxes = seen.map(({ ranch, at }) => {
      const wide = this.ruler.measureText(ranch.name).width + 58, y = Math.max(at.top - NAME_HEIGHT / 2 - 2, view.top + NAME_HEIGHT);
      const along = (width) => Math.max(Math.min(middleOf(at).x, view.right - width / 2 - 4), view.left + width / 2 + 4);
      return { sign: boxAt(along(36), y, 36, NAME_HEIGHT), whole: boxAt(along(wide), y, wide, NAME_HEIGHT) };
    });
    kept(boxes, overlaps, this.buttons(view)).forEach((how, i) => {
      if (how === "none") return;
      const { ranch } = seen[i], code = worstOf(ranch), { fill, ink } = lookOf(code);
      const sign = make("b", { text: shortOf(code), style: { background: fill, color: ink } });
      this.write(boxes[i][how], make("div", { class: "ranch-mark" }, sign, how === "whole" ? make("bdi", { text: ranch.name }) : null));
      this.marks.push({ ranch, box: boxes[i][how] });
    });
  }

  nameBlocks(view) {
    let left = MOST_NAMES;
    for (const block of district.blocks) {
      if (left <= 0) return;
      if (!block.box || !overlaps(this.placed(block.box), view)) continue;
      const drawn = this.zones.has(block.ranch) ? block.valves.filter(({ rings }) => rings?.length).filter((valve) => this.writeName(valve, boxOf(valve.rings))) : [];
      if (!drawn.length) this.writeName(block, block.box);
      left -= Math.max(drawn.length, 1);
    }
  }

  // A name is written where it fits.
  writeName({ name }, box) {
    const at = this.placed(box), { x: wide, y: high } = sizeOf(at), { x, y } = middleOf(at), width = this.ruler.measureText(name).width + 8;
    if (wide < width || high < 18) return false;
    this.write(boxAt(x, y, width, 20), make("bdi", { class: "map-name", text: name }));
    return true;
  }

  write(box, html) {
    const { x, y } = middleOf(box), { x: wide, y: high } = sizeOf(box);
    const icon = L.divIcon({ html, className: "written", iconSize: [wide, high] });
    L.marker(this.map.layerPointToLatLng([x, y]), { icon, pane: "names", interactive: false, keyboard: false }).addTo(this.names);
  }

  // A finger is wider than a name: the sign under it, or the valve zone, or the block.
  tapped({ lat, lng }, point) {
    const sign = this.marks.find(({ box }) => holdsPoint(grown(box, 10), point));
    if (sign) return this.choose(sign.ranch, { fromMap: false });
    const y = lat * DEGREE, x = lng * DEGREE;
    const block = district.blocks.find(({ box, rings }) => box && y >= box[0] && y <= box[2] && x >= box[1] && x <= box[3] && holds(rings, y, x));
    if (!block) return null;
    if (this.blockSize() < 14) return this.choose(block.ranch, { fromMap: false });
    const valve = this.zones.has(block.ranch) ? block.valves.find(({ rings }) => rings && holds(rings, y, x)) : block.valves.length === 1 ? block.valves[0] : null;
    return this.choose(valve ?? block, { fromMap: true });
  }
}
