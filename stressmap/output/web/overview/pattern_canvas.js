// A Leaflet canvas that fills shapes by their code with the signs of priorities, plainly where they are too small for signs.
import { STROKES } from "../map/elements.js";
import { PAST } from "./coding.js";
import { lookOf, told } from "./page.js";

const EDGE = "#14181c";
const TILE = 10;
const BANDS = 12;
const FINER = 2;
// Narrower than this a shape has no edge and no signs, narrower than that finer ones [px].
const BARE_BELOW = 5;
const DOT_BELOW = 3;
const FINE_BELOW = 14;
const FINE = 0.6;
const patterns = new Map();

function stroked(ctx, { ink, pattern }) {
  const light = ink === "#ffffff", [path, width] = STROKES[pattern] ?? [];
  ctx.strokeStyle = light ? "rgba(255,255,255,.5)" : "rgba(34,34,34,.45)";
  ctx.fillStyle = "rgba(34,34,34,.55)";
  if (path) {
    ctx.lineWidth = width;
    ctx.stroke(new window.Path2D(path));
  } else if (pattern === "dots") {
    ctx.beginPath();
    ctx.arc(TILE / 2, TILE / 2, 1.3, 0, 2 * Math.PI);
    ctx.fill();
  }
}

function banded(ctx, { band }) {
  ctx.fillStyle = EDGE;
  ctx.fillRect(0, 3, BANDS, 6);
  ctx.fillStyle = band;
  ctx.fillRect(0, 4, BANDS, 4);
}

function patternOf(ctx, code, scale) {
  const key = `${code} ${scale}`;
  if (!patterns.has(key)) {
    const size = code === PAST ? BANDS : TILE, look = lookOf(code), tile = document.createElement("canvas");
    tile.width = tile.height = size * FINER;
    const own = tile.getContext("2d");
    own.scale(FINER, FINER);
    own.fillStyle = look.fill;
    own.fillRect(0, 0, size, size);
    if (code === PAST) banded(own, told.style.past);
    else stroked(own, look);
    const pattern = ctx.createPattern(tile, "repeat");
    pattern.setTransform(new window.DOMMatrix([scale / FINER, 0, 0, scale / FINER, 0, 0]));
    patterns.set(key, pattern);
  }
  return patterns.get(key);
}

// How far a shape reaches on the screen, the shorter way [px]; Leaflet keeps its box.
function narrowest({ _rawPxBounds: { min, max } }) {
  return Math.min(max.x - min.x, max.y - min.y);
}

// Corners lie on whole pixels, so that the smallest shapes have none between them: their box is filled instead.
function dotted(ctx, { _rawPxBounds: { min, max } }) {
  ctx.fillRect(min.x - 0.5, min.y - 0.5, max.x - min.x + 1, max.y - min.y + 1);
}

export const PatternCanvas = L.Canvas.extend({
  _fillStroke(ctx, layer) {
    const { code, weight } = layer.options, size = code === undefined ? 0 : narrowest(layer);
    if (code === undefined) {
      L.Canvas.prototype._fillStroke.call(this, ctx, layer);
      return;
    }
    ctx.globalAlpha = 1;
    ctx.fillStyle = size < BARE_BELOW ? lookOf(code).fill : patternOf(ctx, code, size < FINE_BELOW ? FINE : 1);
    ctx.fill("evenodd");
    if (size < DOT_BELOW) dotted(ctx, layer);
    if (size < BARE_BELOW) return;
    ctx.strokeStyle = EDGE;
    ctx.lineWidth = size < FINE_BELOW ? 0.5 : weight;
    ctx.stroke();
  },
});
