// What is urgent over all ranches, in which order ranches stand, what a search finds, how old a visit is; no page here.
import { PAST, moreUrgent } from "./coding.js";

// As people type on a phone: without accents, in either case.
export const foldedName = (text) => String(text ?? "").normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase();

export const byRank = (valves) => valves.filter(({ rank }) => rank !== null).sort((a, b) => a.rank - b.rank);

// What is to be watered first, or is past what it bears; where nothing is, the first of the list.
export function urgent(valves) {
  const ranked = byRank(valves), first = ranked.filter(({ code }) => code === PAST || code === 1);
  return { ranked, first: first.length };
}

// Valve zones by code: past the limit, the four priorities, not measured.
export function tally(valves) {
  const counts = [0, 0, 0, 0, 0, 0];
  for (const { code } of valves) counts[code] += 1;
  return counts;
}

export const worstOf = (ranch) => ranch.valves.reduce((worst, { code }) => (moreUrgent(code, worst) < 0 ? code : worst), 0);
export const firstRank = (ranch) => ranch.valves.reduce((least, { rank }) => (rank !== null && rank < least ? rank : least), Infinity);

// What failed comes first: somebody has to do something about it. Then by the most urgent valve, or the oldest visit.
export function ordered(ranches, by) {
  const key = by === "visit" ? (ranch) => ranch.visit[1] : firstRank;
  const failed = ranches.filter(({ visit }) => !visit), mapped = ranches.filter(({ visit }) => visit);
  return [...failed, ...mapped.map((ranch) => [key(ranch), ranch]).sort(([a], [b]) => (a < b ? -1 : a > b ? 1 : 0)).map(([, ranch]) => ranch)];
}

// Whole days from one day to another, both as text.
export const daysFrom = (first, last) => Math.round((Date.parse(`${last}T00:00:00Z`) - Date.parse(`${first}T00:00:00Z`)) / 864e5);

// Names of whatever a search may find, folded once.
export function searchable({ ranches, blocks, valves }) {
  const index = (things) => things.map((thing) => ({ thing, folded: foldedName(thing.name) }));
  return { ranches: index(ranches), blocks: index(blocks), valves: index(valves) };
}

// Ranches, blocks and valves whose name holds what was typed; with several words, a ranch or block may be named beside
// ("north v03"). Names that begin with it come first.
export function found(index, query, most) {
  const words = foldedName(query).split(/\s+/).filter(Boolean);
  if (!words.length) return null;
  const whole = words.join(" ");
  const about = (thing) => foldedName([thing.name, thing.block?.name, (thing.block ?? thing).ranch?.name].filter(Boolean).join(" "));
  const hits = (things) => {
    const out = things.filter(({ thing, folded }) => folded.includes(whole) || (words.length > 1 && folded.includes(words[words.length - 1]) && words.every((word) => about(thing).includes(word))));
    const first = out.filter(({ folded }) => folded.startsWith(whole)), rest = out.filter(({ folded }) => !folded.startsWith(whole));
    return { count: out.length, things: [...first, ...rest].slice(0, most).map(({ thing }) => thing) };
  };
  return { ranches: hits(index.ranches), blocks: hits(index.blocks), valves: hits(index.valves) };
}

// Keeps marks apart on the screen: the first keep their names, those whose name has no room only their sign, and those
// that lie on another's sign are left out. Boxes are { sign, whole }, the most urgent first; some room may be taken already.
export function kept(boxes, overlaps, before = []) {
  const taken = [...before];
  return boxes.map(({ sign, whole }) => {
    const free = (box) => !taken.some((other) => overlaps(box, other));
    const how = free(whole) ? "whole" : free(sign) ? "sign" : "none";
    if (how !== "none") taken.push(how === "whole" ? whole : sign);
    return how;
  });
}
