// Times on the ranch's clock, whatever zone the phone is set to. Moments are milliseconds since 1970.
const MINUTE = 60000;
const makers = new Map();

function maker(zone) {
  if (!makers.has(zone)) {
    makers.set(zone, new Intl.DateTimeFormat("en-US", {
      timeZone: zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", second: "2-digit",
    }));
  }
  return makers.get(zone);
}

const padded = (number, digits = 2) => String(number).padStart(digits, "0");

// The parts of a moment as a clock on the ranch shows them.
export function wall(moment, zone) {
  const found = {};
  for (const { type, value } of maker(zone).formatToParts(moment)) found[type] = Number(value);
  return found;
}

function offsetOf(moment, zone) {
  const { year, month, day: number, hour, minute, second } = wall(moment, zone);
  return Date.UTC(year, month - 1, number, hour, minute, second) - Math.floor(moment / 1000) * 1000;
}

export function day(moment, zone) {
  const { year, month, day: number } = wall(moment, zone);
  return `${year}-${padded(month)}-${padded(number)}`;
}

export function clock(moment, zone) {
  const { hour, minute } = wall(moment, zone);
  return `${padded(hour)}:${padded(minute)}`;
}

export function minuteOfDay(moment, zone) {
  const { hour, minute, second } = wall(moment, zone);
  return hour * 60 + minute + second / 60;
}

// ISO 8601 with the ranch's offset, to the second.
export function written(moment, zone) {
  const { second } = wall(moment, zone), offset = Math.round(offsetOf(moment, zone) / MINUTE);
  const size = Math.abs(offset);
  return `${day(moment, zone)}T${clock(moment, zone)}:${padded(second)}${offset < 0 ? "-" : "+"}${padded(Math.floor(size / 60))}:${padded(size % 60)}`;
}

// The moment of "2026-07-14" and "13:05" on the ranch's clock. In the hour that is passed twice it is the first;
// in the hour that is left out, the time as if the clock had not been moved yet.
export function momentOf(date, time, zone) {
  const [year, month, number] = date.split("-").map(Number), [hour, minute] = time.split(":").map(Number);
  const plain = Date.UTC(year, month - 1, number, hour, minute);
  if (!Number.isFinite(plain)) return null;
  const before = plain - offsetOf(plain - 24 * 60 * MINUTE, zone), after = plain - offsetOf(plain + 24 * 60 * MINUTE, zone);
  const fits = (candidate) => candidate + offsetOf(candidate, zone) === plain;
  return fits(before) || !fits(after) ? before : after;
}

// How long a leaf is in its bag and how long it still has to be, from stored times alone.
export function bagged(since, now, minutes) {
  const inside = now - since, left = Math.max(0, minutes * MINUTE - inside);
  return { minutes: inside / MINUTE, left, ready: left === 0, wrongClock: inside < 0 };
}

export function countdown(left) {
  const seconds = Math.ceil(left / 1000);
  return `${Math.floor(seconds / 60)}:${padded(seconds % 60)}`;
}
