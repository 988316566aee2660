// The day's work from the events that were stored. Events are only ever added; what they say is put together here.
import { day } from "./clock.js";

const fresh = {
  bag: ({ reading, at, tree, stop, crew, chamber }) => ({
    id: reading, tree, stop, crew, chamber, bagAt: at, readAt: null, pressure: null, unit: null, recheck: null,
    place: null, note: "", trouble: [], temp: null, rh: null, withdrawn: false, version: 0,
  }),
  set: ({ entry, code, valve, block, plannedStart, plannedEnd }) => ({
    id: entry, code, valve, block, plannedStart, plannedEnd, start: null, end: null, trouble: [], note: "", withdrawn: false, version: 0,
  }),
};

const changes = {
  bag: (one, { place }) => ({ place }),
  bagged: (one, { time }) => ({ bagAt: time }),
  read: (one, { at, pressure, unit, place }) => ({
    pressure, unit, readAt: one.readAt === null ? at : one.readAt, place: place || one.place,
  }),
  timed: (one, { time }) => ({ readAt: time }),
  unread: () => ({ pressure: null, readAt: null, recheck: null }),
  recheck: (one, { recheck }) => ({ recheck }),
  details: (one, { note, trouble, temp, rh }) => ({ note, trouble, temp, rh }),
  withdraw: () => ({ withdrawn: true }),
  restore: () => ({ withdrawn: false }),
  set: () => ({}),
  opened: (one, { time }) => ({ start: time }),
  closed: (one, { time }) => ({ end: time }),
  set_details: (one, { note, trouble }) => ({ note, trouble }),
};

function changed(things, id, event) {
  const before = things.get(id) || (fresh[event.kind] && fresh[event.kind](event));
  if (!before) return; // An event of something that was never begun says nothing.
  things.set(id, { ...before, ...changes[event.kind](before, event), version: before.version + 1 });
}

// Versions that have left the phone, by reading and entry.
function handedOver(events) {
  const handed = new Map();
  for (const { kind, versions } of events) {
    if (kind !== "handed") continue;
    for (const [id, version] of Object.entries(versions)) handed.set(id, Math.max(version, handed.get(id) || 0));
  }
  return handed;
}

export function fold(events, zone) {
  const readings = new Map(), sets = new Map(), trees = new Map(), days = new Map();
  let phone = null;
  for (const event of events) {
    if (event.kind === "day") days.set(event.day, event);
    else if (event.kind === "tree") trees.set(event.tree.key, event.tree);
    else if (event.kind === "phone") phone = phone || event.mark;
    else if (changes[event.kind] && event.reading) changed(readings, event.reading, event);
    else if (changes[event.kind] && event.entry) changed(sets, event.entry, event);
  }
  const list = [...readings.values()].map((one) => ({ ...one, day: day(one.readAt === null ? one.bagAt : one.readAt, zone) }));
  return { readings: list, sets: [...sets.values()], trees: [...trees.values()], days, phone, handed: handedOver(events) };
}

// What says something to those who wait for it; a bag alone does not yet.
export const tells = (reading) => reading.pressure !== null || reading.trouble.length > 0 || reading.note !== "";
export const setTells = (set) => set.start !== null || set.end !== null || set.trouble.length > 0 || set.note !== "";

const known = (one, handed) => handed.has(one.id);
const newer = (one, handed) => one.version > (handed.get(one.id) || 0);

// What was once handed over and then taken back is told again; what never left the phone is not.
export function waiting({ readings, sets, handed }) {
  const due = (told) => (one) => newer(one, handed) && (known(one, handed) || (told(one) && !one.withdrawn));
  return { readings: readings.filter(due(tells)), sets: sets.filter(due(setTells)) };
}

// All that could ever have left the phone, for handing over once more.
export function everything({ readings, sets, handed }) {
  const due = (told) => (one) => known(one, handed) || told(one);
  return { readings: readings.filter(due(tells)), sets: sets.filter(due(setTells)) };
}

export const versionsOf = ({ readings, sets }) => Object.fromEntries([...readings, ...sets].map(({ id, version }) => [id, version]));

export const inBags = (readings) => readings.filter((one) => one.pressure === null && !one.withdrawn).sort((a, b) => a.bagAt - b.bagAt);
