// Shapes and questions that the tests share.
import { Outline, boxAt, overlaps } from "../../stressmap/output/web/map/geometry.js";
import { Placement } from "../../stressmap/output/web/map/placement.js";

export const SCREEN = { left: 0, top: 0, right: 1000, bottom: 1000 };

export function outline(corners, at) {
  const x = corners.map((corner) => corner[0]), y = corners.map((corner) => corner[1]);
  const box = { left: Math.min(...x), top: Math.min(...y), right: Math.max(...x), bottom: Math.max(...y) };
  return new Outline({ box, at: at ?? { x: (box.left + box.right) / 2, y: (box.top + box.bottom) / 2 }, ringsOf: () => [corners.map((corner) => ({ x: corner[0], y: corner[1] }))] });
}

export const rectangle = (left, top, right, bottom) => outline([[left, top], [right, top], [right, bottom], [left, bottom]]);
export const valve = (rank, name = `V${rank}`, block = "B") => ({ rank, valve: name, block });

// Eight pixels a letter: widths that one can work out by hand.
export function placement(options = {}) {
  return new Placement({ view: SCREEN, taken: [], points: [], widthOf: (text) => 8 * text.length, ...options });
}

export function covering(placed) {
  return placed.flatMap((one, i) => placed.slice(i + 1).filter((other) => overlaps(one.box, other.box)).map((other) => [one, other]));
}

export const dot = (x, y, size = 10) => boxAt(x, y, size, size);

// Numbers from 0 to 1 that are the same at every run.
export function drawing(seed) {
  let state = seed;
  return () => {
    state = (state * 1103515245 + 12345) % 2147483648;
    return state / 2147483648;
  };
}
