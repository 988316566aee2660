// Boxes and outlines in pixels of the screen, y downwards.

export const boxAt = (x, y, width, height) => ({ left: x - width / 2, top: y - height / 2, right: x + width / 2, bottom: y + height / 2 });
export const grown = (box, by) => ({ left: box.left - by, top: box.top - by, right: box.right + by, bottom: box.bottom + by });
export const middleOf = (box) => ({ x: (box.left + box.right) / 2, y: (box.top + box.bottom) / 2 });
export const sizeOf = (box) => ({ x: box.right - box.left, y: box.bottom - box.top });

// A longitude within half a turn of a middle, in degrees: on the map a ranch across 180 degrees runs on beyond it.
export const turned = (longitude, middle) => longitude - 360 * Math.round((longitude - middle) / 360);

// Boxes that only touch do not overlap.
export const overlaps = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
export const contains = (outer, inner) => inner.left >= outer.left && inner.right <= outer.right && inner.top >= outer.top && inner.bottom <= outer.bottom;
export const holdsPoint = (box, { x, y }) => x >= box.left && x <= box.right && y >= box.top && y <= box.bottom;
export const common = (a, b) => ({ left: Math.max(a.left, b.left), top: Math.max(a.top, b.top), right: Math.min(a.right, b.right), bottom: Math.min(a.bottom, b.bottom) });

// Whether a line from a to b touches a box: what is left of the line after each side of the box has cut it.
export function touches(a, b, box) {
  let from = 0, to = 1;
  const along = { x: b.x - a.x, y: b.y - a.y };
  for (const [step, room] of [[-along.x, a.x - box.left], [along.x, box.right - a.x], [-along.y, a.y - box.top], [along.y, box.bottom - a.y]]) {
    if (step === 0 && room < 0) return false;
    if (step < 0) from = Math.max(from, room / step);
    if (step > 0) to = Math.min(to, room / step);
  }
  return from <= to;
}

// A shape as it lies on the screen; its rings are asked for only where they are needed.
export class Outline {
  constructor({ box, at = null, ringsOf }) {
    this.box = box;
    this.size = sizeOf(box);
    this.at = at;
    this.ringsOf = ringsOf;
    this.projected = null;
  }

  get rings() {
    if (!this.projected) this.projected = this.ringsOf();
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

  widthAt(y) {
    return Math.max(0, ...this.spansAt(y).map(([from, to]) => to - from));
  }

  // Whether a box lies in the shape, at least the rim away from every edge.
  holds(box, rim) {
    if (!contains(this.box, box)) return false;
    const wide = grown(box, rim), centre = middleOf(box);
    let within = false;
    for (const ring of this.rings) {
      for (let i = 0, last = ring.length - 1; i < ring.length; last = i, i += 1) {
        const a = ring[last], b = ring[i];
        if (touches(a, b, wide)) return false;
        if (a.y > centre.y !== b.y > centre.y && centre.x < a.x + ((b.x - a.x) * (centre.y - a.y)) / (b.y - a.y)) within = !within;
      }
    }
    return within;
  }
}
