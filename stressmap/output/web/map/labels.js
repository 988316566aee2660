// What is written on the map: ranks first, then the names of valves, then those of blocks whose valves have no
// room for theirs. A label that does not fit, or would cover another or a button, is not written at all.
const RANK = { height: 40, wide: 52, slim: [36, 36, 44, 52], slack: 6, first: 20, most: 150 };
const NAME = {
  valve: { fonts: [["700 15px/20px", 20], ["700 13px/18px", 18]], className: "map-name valve-name" },
  block: { fonts: [["italic 600 14px/18px", 18]], className: "map-name block-name" },
};
// A name longer than these is cut to the longest of them that fits; a shorter one is never cut.
const CUT_TO = [480, 320, 220, 160, 110];
const MOST_NAMES = 250;
const DIAMOND = 14; // From the middle to a corner, in pixels.
const HALO = 3, GAP = 3, RIM = 2;
const CONTROLS = "#north, #layers > summary, #tools > button, .leaflet-control-scale-line";
// Heights in its shape at which a label may stand, as shares of the room left over, the middle first.
const HEIGHTS = [0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6, -6].map((step) => step / 12);

const boxAt = (x, y, width, height) => L.bounds([x - width / 2, y - height / 2], [x + width / 2, y + height / 2]);
const grown = (box, by) => L.bounds(box.min.subtract([by, by]), box.max.add([by, by]));

// A shape as it lies on the screen now.
class Outline {
  constructor(map, item, shape) {
    this.map = map;
    this.item = item;
    this.shape = shape;
    const box = shape.getBounds();
    this.box = L.bounds(map.latLngToLayerPoint(box.getNorthWest()), map.latLngToLayerPoint(box.getSouthEast()));
    this.size = this.box.getSize();
    this.at = item.at && map.latLngToLayerPoint(item.at);
  }

  get rings() {
    if (!this.projected) this.projected = this.shape.getLatLngs().flat().map((ring) => ring.map((at) => this.map.latLngToLayerPoint(at)));
    return this.projected;
  }

  // From where to where a level line across the screen lies in the shape.
  spansAt(y) {
    const crossings = [];
    for (const ring of this.rings) {
      ring.forEach((b, i) => {
        const a = ring[(i || ring.length) - 1];
        if (a.y > y !== b.y > y) crossings.push(a.x + ((b.x - a.x) * (y - a.y)) / (b.y - a.y));
      });
    }
    crossings.sort((a, b) => a - b);
    return crossings.flatMap((x, i) => (i % 2 ? [[crossings[i - 1], x]] : []));
  }

  holds(box) {
    if (!this.box.contains(box)) return false;
    const rim = grown(box, RIM), centre = box.getCenter();
    let inside = false;
    for (const ring of this.rings) {
      for (let i = 0, last = ring.length - 1; i < ring.length; last = i, i += 1) {
        const a = ring[last], b = ring[i];
        if (L.LineUtil.clipSegment(a, b, rim, false)) return false;
        if (a.y > centre.y !== b.y > centre.y && centre.x < a.x + ((b.x - a.x) * (centre.y - a.y)) / (b.y - a.y)) inside = !inside;
      }
    }
    return inside;
  }
}

class MapLabels {
  constructor(map, drawing) {
    this.map = map;
    this.drawing = drawing;
    this.written = [];
    this.widths = new Map();
    this.pen = document.createElement("canvas").getContext("2d");
    this.family = getComputedStyle(document.body).fontFamily;
    for (const pane of ["ranks", "names"]) map.getPane(pane).setAttribute("aria-hidden", "true");
    map.on("moveend", () => this.place());
  }

  place() {
    this.taken = this.controls();
    for (const label of this.written) label.remove();
    this.written = [];
    this.valves = [];
    this.points = this.pointsShown();
    const { map } = this, corner = map.containerPointToLayerPoint([0, 0]);
    this.view = grown(L.bounds(corner, corner.add(map.getSize())), -RIM);
    const valves = this.inView(this.drawing.shapes.valves);
    valves.sort(([a], [b]) => (b === shown.chosen?.item) - (a === shown.chosen?.item));
    if (shown.layers.ranks) this.writeRanks(valves);
    if (shown.layers.names) this.writeNames(valves);
    this.clearSmudges();
  }

  controls() {
    const { left, top } = this.map.getContainer().getBoundingClientRect();
    const rects = [...document.querySelectorAll(CONTROLS)].map((control) => control.getBoundingClientRect());
    const point = (x, y) => this.map.containerPointToLayerPoint([x - left, y - top]);
    return rects.filter((r) => r.width).map((r) => L.bounds(point(r.left, r.top), point(r.right, r.bottom)));
  }

  pointsShown() {
    const { shapes, dotRadius } = this.drawing, view = this.map.getBounds().pad(0.1);
    if (dotRadius < FAINT) return [];
    const marks = shapes.dots.filter(({ kind }) => shown.layers[kind]).map(({ reading, dots }) => [reading.at, dotRadius, dots]);
    if (shown.layers.again) marks.push(...shapes.again.map(({ spot, dots }) => [spot.at, DIAMOND, dots]));
    return marks.filter(([at]) => view.contains(at)).map(([at, radius, dots]) => {
      const { x, y } = this.map.latLngToLayerPoint(at);
      return { box: boxAt(x, y, 2 * radius, 2 * radius), core: boxAt(x, y, radius, radius), dots };
    });
  }

  // A mark whose inner half a label touches would only be a smudge beside it.
  clearSmudges() {
    for (const { core, dots } of this.points) {
      const smudge = this.taken.some((other) => other.overlaps(core));
      for (const dot of dots) dot.getElement()?.classList.toggle("smudge", smudge);
    }
  }

  inView(shapes) {
    const view = this.map.getBounds();
    const near = [...shapes].filter(([, shape]) => shape.getBounds().intersects(view));
    return near.map(([item, shape]) => [item, new Outline(this.map, item, shape)]);
  }

  isFree(box) {
    const around = grown(box, GAP);
    return this.view.contains(box) && !this.taken.some((other) => other.overlaps(around));
  }

  // A free place inside a shape, or sticking out of it by less than the slack; if there is one, such that no reading is covered.
  roomIn(outline, size, slack = 0) {
    let second = null;
    for (const box of this.placesIn(outline, size, slack)) {
      if (!this.isFree(box) || !outline.holds(grown(box, -slack))) continue;
      if (this.coversNothing(box)) return box;
      second = second || box;
    }
    return second;
  }

  coversNothing(box) {
    return !this.points.some((point) => point.box.overlaps(box));
  }

  // A name reads best right under the number it belongs to, or over or beside it; else from the middle outwards.
  * placesIn(outline, [width, height], slack) {
    const { rank } = outline, { min, max } = grown(this.visible(outline.box), slack);
    if (max.x - min.x < width || max.y - min.y < height) return;
    const middle = rank?.getCenter() ?? outline.at ?? min.add(max).divideBy(2);
    const heights = HEIGHTS.map((share) => (min.y + max.y) / 2 + share * (max.y - min.y - height));
    if (rank) {
      const size = rank.getSize(), down = (size.y + height) / 2 + GAP + 1, across = (size.x + width) / 2 + GAP + 1;
      yield boxAt(middle.x, middle.y + down, width, height);
      yield boxAt(middle.x, middle.y - down, width, height);
      yield boxAt(middle.x + across, middle.y, width, height);
      yield boxAt(middle.x - across, middle.y, width, height);
      heights.unshift(middle.y + down, middle.y - down, middle.y + 1.5 * down, middle.y - 1.5 * down);
    } else yield boxAt(middle.x, middle.y, width, height);
    for (const y of heights) {
      for (const [from, to] of outline.spansAt(y)) {
        const left = Math.max(from - slack, min.x) + width / 2 + RIM, right = Math.min(to + slack, max.x) - width / 2 - RIM;
        if (left > right) continue;
        yield boxAt(Math.max(left, Math.min(right, middle.x)), y, width, height);
        yield boxAt((left + right) / 2, y, width, height);
      }
    }
  }

  visible(box) {
    const { view } = this;
    return L.bounds(
      [Math.max(box.min.x, view.min.x), Math.max(box.min.y, view.min.y)],
      [Math.min(box.max.x, view.max.x), Math.min(box.max.y, view.max.y)]);
  }

  // Whoever taps a number or a name means its valve.
  valveAt(point) {
    return this.valves.find(([box]) => box.contains(point))?.[1];
  }

  write(element, box, pane, className) {
    const icon = L.divIcon({ html: element, className, iconSize: box.getSize() });
    const at = this.map.layerPointToLatLng(box.getCenter());
    this.written.push(L.marker(at, { icon, pane, interactive: false, keyboard: false }).addTo(this.map));
  }

  // From afar only the first ranks, which may stick out of small zones; in their order, so that where boxes would
  // cover each other the more urgent one stays.
  writeRanks(valves) {
    for (const [valve, outline] of valves) {
      const urgent = valve.rank !== null && valve.rank <= RANK.first, chosen = valve === shown.chosen?.item;
      const slim = RANK.slim[Math.min(String(valve.rank ?? NO_RANK).length, 4) - 1];
      if (!urgent && !chosen && outline.size.x < slim) continue;
      const across = Math.max(0, ...outline.spansAt(outline.at.y).map(([from, to]) => to - from));
      const width = across < RANK.wide ? slim : RANK.wide;
      outline.rank = this.rankOverName(outline, width, valve.valve) ?? this.rankAlone(outline, width, urgent || chosen);
      if (!outline.rank) continue;
      this.taken.push(outline.rank);
      this.valves.push([outline.rank, valve]);
      this.write(rankBox(valve), outline.rank, "ranks", "rank-icon");
      if (this.written.length >= RANK.most) break;
    }
  }

  // Where number and name both have room, the number leaves the middle of its zone to the two of them.
  rankOverName(outline, width, name) {
    if (!shown.layers.names) return null;
    const [font, height] = NAME.valve.fonts[1], lower = height + GAP + 1;
    const pair = this.roomIn(outline, [Math.max(width, this.widthOf(name, font)), RANK.height + lower]);
    return pair && boxAt(pair.getCenter().x, pair.getCenter().y - lower / 2, width, RANK.height);
  }

  rankAlone(outline, width, important) {
    const usual = boxAt(outline.at.x, outline.at.y, width, RANK.height), free = important && this.isFree(usual);
    if (free && this.coversNothing(usual)) return usual;
    const other = this.roomIn(outline, [width, RANK.height], RANK.slack);
    return free && !(other && this.coversNothing(other)) ? usual : other;
  }

  // Where fewer than half of a block's valves have room for their names, the block's name says more than theirs;
  // slivers of valves at the edge of the map do not count.
  writeNames(valves) {
    const most = this.written.length + MOST_NAMES, inside = new Map();
    for (const [valve, outline] of valves) {
      if (!inside.has(valve.block)) inside.set(valve.block, []);
      inside.get(valve.block).push([outline, valve.valve]);
    }
    const blocks = new Map(this.inView(this.drawing.shapes.blocks).map(([block, outline]) => [block.block, outline]));
    for (const block of new Set([...inside.keys(), ...blocks.keys()])) {
      const theirs = inside.get(block) ?? [];
      const seen = theirs.filter(([outline]) => this.view.contains(outline.at)).length;
      let names = this.bestOf(theirs, NAME.valve);
      if (blocks.has(block) && (!names.length || 2 * names.length < seen)) {
        const whole = this.bestOf([[blocks.get(block), block]], NAME.block);
        if (whole.length) names = whole;
      }
      for (const { element, box, className, item } of names.slice(0, most - this.written.length)) {
        this.taken.push(box);
        if (item.valve) this.valves.push([box, item]);
        this.write(element, box, "names", className);
      }
      if (this.written.length >= most) return;
    }
  }

  // Names of one block are of one size: the largest at which no fewer of them fit.
  bestOf(labels, { fonts, className }) {
    let best = [];
    for (const font of fonts) {
      const before = this.taken.length;
      const found = labels.map(([outline, name]) => this.nameIn(outline, name, font, className)).filter(Boolean);
      this.taken.length = before;
      if (found.length > best.length) best = found;
      if (best.length === labels.length) break;
    }
    return best;
  }

  nameIn(outline, name, [font, height], className) {
    if (outline.size.x < height || outline.size.y < height) return null;
    const full = this.widthOf(name, font);
    for (const width of [full, ...CUT_TO.filter((cut) => cut < full)]) {
      const box = this.roomIn(outline, [width, height]);
      if (!box) continue;
      this.taken.push(box);
      const style = { font: `${font} ${this.family}` };
      return { element: make("div", { class: "written", dir: "auto", text: name, style }), box, className, item: outline.item };
    }
    return null;
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
      ? make("span", { text: priority === "none" ? shortOf(priority) : signed(valve.change), style: { background: priority === "none" ? look.fill : changeColour(valve.change), color: "#111" } })
      : make("span", { text: shortOf(priority), style: { background: look.fill, color: look.ink } }));
}
