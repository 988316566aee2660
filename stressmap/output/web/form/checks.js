// What is said at the tree. Every check only speaks; none refuses. Codes and values; the words come with the page.
import { bagged, minuteOfDay } from "./clock.js";
import { metres } from "./places.js";

// How far past what was expected a reading may lie before it is doubted, and how far from the tree's last one
// (common practice, no source).
export const PAST_RANGE_BAR = 2;
export const FROM_LAST_BAR = 5;
export const WRONG_TREE_M = 60;

export function atBag({ tree, fix, readings, today }) {
  const found = [];
  const before = readings.find((one) => one.tree.key === tree.key && one.day === today && !one.withdrawn);
  if (before) found.push({ code: before.readAt === null ? "in_bag_already" : "read_already", at: before.readAt === null ? before.bagAt : before.readAt });
  const away = fix && fix.accuracy <= WRONG_TREE_M / 2 ? metres(fix, tree) : null;
  if (away !== null && away > WRONG_TREE_M) found.push({ code: "far_from_tree", metres: Math.round(away) });
  return found;
}

export function outsideWindow(now, { window: [from, to] }, zone) {
  const minute = minuteOfDay(now, zone);
  return minute < from || minute > to;
}

export function atRead({ bagAt, now, rules, zone }) {
  const found = outsideWindow(now, rules, zone) ? [{ code: "outside_window" }] : [];
  if (bagAt === null) return [...found, { code: "no_bag" }];
  const bag = bagged(bagAt, now, rules.bagMinutes);
  if (bag.wrongClock) found.push({ code: "clock_moved" });
  else if (!bag.ready) found.push({ code: "short_bag", at: now + bag.left });
  return found;
}

// How far a pressure [bar] lies off what was expected of the tree, or null where that is near enough or unknown.
export function offExpected(bar, { expected, low, high, last } = {}) {
  const known = (figure) => figure !== null && figure !== undefined;
  if (known(low) && known(high)) {
    const off = bar < low ? low - bar : Math.max(0, bar - high);
    return off > PAST_RANGE_BAR ? Math.abs(bar - (known(expected) ? expected : (low + high) / 2)) : null;
  }
  const usual = known(expected) ? expected : last;
  if (!known(usual)) return null;
  return Math.abs(bar - usual) > FROM_LAST_BAR ? Math.abs(bar - usual) : null;
}

export function ofPressure(bar, tree, { possibleBar: [least, most] }) {
  if (bar < least || bar > most) return [{ code: "impossible" }];
  const off = offExpected(bar, tree);
  return off === null ? [] : [{ code: "far_off", bar: off }];
}

// A gauge's figure is no exact binary number: 14.2 - 13.2 is a hair over 1.
const HAIR_BAR = 1e-9;

export function ofRecheck(bar, recheckBar, rules) {
  if (bar === null || recheckBar === null) return [];
  const apart = Math.abs(bar - recheckBar);
  return apart > rules.recheckBar + HAIR_BAR ? [{ code: "recheck_apart", bar: apart }] : [];
}
