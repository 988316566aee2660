// What is urgent where priorities alone do not tell it, and how the parts of a change are told; nothing here touches the page.
import { inRankOrder, priorityOf } from "./listing.js";
import { halfUp } from "./quantities.js";

// A guess may not be shown as past what the crop bears.
export const isPastLimit = (valve) => Boolean(valve.pastLimit) && priorityOf(valve) !== "none";

export function partedByLimit(valves) {
  return { past: valves.filter(isPastLimit), rest: valves.filter((valve) => !isPastLimit(valve)) };
}

// The one priority that holds more than half of the ranked area, and where to look instead; null where none does.
export function mostlyOne(valves) {
  const ranked = valves.filter(({ rank }) => rank !== null);
  const areaOf = (some) => some.reduce((sum, { area }) => sum + area, 0);
  const shares = [1, 2, 3, 4].map((priority) => ({ priority, share: areaOf(ranked.filter((valve) => priorityOf(valve) === priority)) / areaOf(ranked) }));
  const most = shares.find(({ share }) => share > 0.5);
  return most ? { ...most, first: inRankOrder(ranked, null).slice(0, 3), past: ranked.filter(isPastLimit).length } : null;
}

// The colour of a rank on a ramp "#rrggbb" from the last rank to the first.
export function rankColour(rank, last, ramp) {
  const at = (last > 1 ? (last - rank) / (last - 1) : 1) * (ramp.length - 1);
  const low = Math.min(Math.floor(at), ramp.length - 2);
  const part = (k, from) => parseInt(ramp[k].slice(from, from + 2), 16);
  const mixed = [1, 3, 5].map((from) => Math.round(part(low, from) + (at - low) * (part(low + 1, from) - part(low, from))));
  return `#${mixed.map((one) => one.toString(16).padStart(2, "0")).join("")}`;
}

// Whether parts still make their sum once each is written to a tenth.
export function addUpAsWritten(sum, parts) {
  const tenths = (value) => Math.sign(value) * Math.round(10 * Number(halfUp(Math.abs(value), 1)));
  return tenths(sum) === parts.reduce((total, part) => total + tenths(part), 0);
}
