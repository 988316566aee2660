// Where labels go: ranks first, in their order, then the names of valves, then those of blocks whose valves have no
// room for theirs. A label that does not fit, or would cover another or a button, is not written at all.
import { boxAt, common, contains, grown, holdsPoint, middleOf, overlaps, sizeOf } from "./geometry.js";

export const RANK = { height: 40, wide: 52, slim: [36, 36, 44, 52], slack: 6, first: 20, most: 150 };
export const NAME = {
  valve: [{ font: "700 15px/20px", height: 20 }, { font: "700 13px/18px", height: 18 }],
  block: [{ font: "italic 600 14px/18px", height: 18 }],
};
// A name longer than these is cut to the longest of them that fits; a shorter one is never cut.
export const CUT_TO = [480, 320, 220, 160, 110];
export const MOST_NAMES = 250;
export const GAP = 3;
export const RIM = 2;
// Heights in its shape at which a label may stand, as shares of the room left over, the middle first.
const HEIGHTS = [0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6, -6].map((step) => step / 12);

export class Placement {
  // view and taken are boxes; points are boxes of marks that a label should not cover where it can help it;
  // widthOf(text, font) is in pixels; valves and blocks are [item, outline] in the order they are served.
  constructor({ view, taken, points, widthOf, chosen = null, besideNames = true }) {
    this.view = grown(view, -RIM);
    this.taken = [...taken];
    this.points = points;
    this.widthOf = widthOf;
    this.chosen = chosen;
    this.besideNames = besideNames;
    this.placed = [];
  }

  // From afar only the first ranks, which may stick out of small zones; in their order, so that where boxes would
  // cover each other the more urgent one stays.
  placeRanks(valves) {
    for (const [valve, outline] of valves) {
      if (this.placed.length >= RANK.most) return;
      const urgent = valve.rank !== null && valve.rank <= RANK.first, chosen = valve === this.chosen;
      const slim = RANK.slim[Math.min(String(valve.rank ?? "-").length, 4) - 1];
      if (!urgent && !chosen && outline.size.x < slim) continue;
      const width = outline.widthAt(outline.at.y) < RANK.wide ? slim : RANK.wide;
      const box = this.rankOverName(outline, width, valve.valve) ?? this.rankAlone(outline, width, urgent || chosen);
      if (!box) continue;
      outline.rank = box;
      this.place({ kind: "rank", item: valve, box });
    }
  }

  place(label) {
    this.taken.push(label.box);
    this.placed.push(label);
  }

  // Where number and name both have room, the number leaves the middle of its zone to the two of them.
  rankOverName(outline, width, name) {
    if (!this.besideNames) return null;
    const { font, height } = NAME.valve[1], lower = height + GAP + 1;
    const pair = this.roomIn(outline, [Math.max(width, this.widthOf(name, font)), RANK.height + lower]);
    if (!pair) return null;
    const { x, y } = middleOf(pair);
    return boxAt(x, y - lower / 2, width, RANK.height);
  }

  rankAlone(outline, width, important) {
    const usual = boxAt(outline.at.x, outline.at.y, width, RANK.height), free = important && this.isFree(usual);
    if (free && this.coversNothing(usual)) return usual;
    const other = this.roomIn(outline, [width, RANK.height], RANK.slack);
    return free && !(other && this.coversNothing(other)) ? usual : other;
  }

  // Where fewer than half of a block's valves have room for their names, the block's name says more than theirs;
  // slivers of valves at the edge of the map do not count.
  placeNames(valves, blocks) {
    const most = this.placed.length + MOST_NAMES, inBlock = new Map();
    for (const [valve, outline] of valves) {
      if (!inBlock.has(valve.block)) inBlock.set(valve.block, []);
      inBlock.get(valve.block).push([valve, outline, valve.valve]);
    }
    const outlineOf = new Map(blocks.map(([block, outline]) => [block.block, [block, outline, block.block]]));
    for (const block of new Set([...inBlock.keys(), ...outlineOf.keys()])) {
      const names = this.namesOf(inBlock.get(block) ?? [], outlineOf.get(block));
      for (const name of names.slice(0, most - this.placed.length)) this.place(name);
      if (this.placed.length >= most) return;
    }
  }

  namesOf(valves, block) {
    const seen = valves.filter(([, outline]) => holdsPoint(this.view, outline.at)).length;
    const names = this.bestOf(valves, "valve");
    if (!block || (names.length && 2 * names.length >= seen)) return names;
    const whole = this.bestOf([block], "block");
    return whole.length ? whole : names;
  }

  // Names of one block are of one size: the largest at which no fewer of them fit.
  bestOf(labels, kind) {
    let best = [];
    for (const look of NAME[kind]) {
      const before = this.taken.length;
      const found = labels.map(([item, outline, name]) => this.nameIn(outline, { kind, item, name, ...look })).filter(Boolean);
      this.taken.length = before;
      if (found.length > best.length) best = found;
      if (best.length === labels.length) break;
    }
    return best;
  }

  nameIn(outline, label) {
    const { name, font, height } = label;
    if (outline.size.x < height || outline.size.y < height) return null;
    const full = this.widthOf(name, font);
    for (const width of [full, ...CUT_TO.filter((cut) => cut < full)]) {
      const box = this.roomIn(outline, [width, height]);
      if (!box) continue;
      this.taken.push(box);
      return { ...label, box };
    }
    return null;
  }

  isFree(box) {
    const around = grown(box, GAP);
    return contains(this.view, box) && !this.taken.some((other) => overlaps(other, around));
  }

  coversNothing(box) {
    return !this.points.some((point) => overlaps(point, box));
  }

  // A free place inside a shape, or sticking out of it by less than the slack; if there is one, such that no reading is covered.
  roomIn(outline, size, slack = 0) {
    let second = null;
    for (const box of this.placesIn(outline, size, slack)) {
      if (!this.isFree(box) || !outline.holds(grown(box, -slack), RIM)) continue;
      if (this.coversNothing(box)) return box;
      second = second || box;
    }
    return second;
  }

  // A name reads best right under the number it belongs to, or over or beside it; else from the middle outwards.
  * placesIn(outline, [width, height], slack) {
    const { rank } = outline, room = grown(common(outline.box, this.view), slack), space = sizeOf(room);
    if (space.x < width || space.y < height) return;
    const middle = rank ? middleOf(rank) : outline.at ?? middleOf(room);
    const heights = HEIGHTS.map((share) => middleOf(room).y + share * (space.y - height));
    if (rank) {
      const size = sizeOf(rank), down = (size.y + height) / 2 + GAP + 1, across = (size.x + width) / 2 + GAP + 1;
      yield boxAt(middle.x, middle.y + down, width, height);
      yield boxAt(middle.x, middle.y - down, width, height);
      yield boxAt(middle.x + across, middle.y, width, height);
      yield boxAt(middle.x - across, middle.y, width, height);
      heights.unshift(middle.y + down, middle.y - down, middle.y + 1.5 * down, middle.y - 1.5 * down);
    } else yield boxAt(middle.x, middle.y, width, height);
    for (const y of heights) {
      for (const [from, to] of outline.spansAt(y)) {
        const left = Math.max(from - slack, room.left) + width / 2 + RIM, right = Math.min(to + slack, room.right) - width / 2 - RIM;
        if (left > right) continue;
        yield boxAt(Math.max(left, Math.min(right, middle.x)), y, width, height);
        yield boxAt((left + right) / 2, y, width, height);
      }
    }
  }
}

// A mark whose inner half a label touches would only be a smudge beside it.
export const isSmudge = (core, taken) => taken.some((box) => overlaps(box, core));
