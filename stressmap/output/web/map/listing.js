// What is listed, in which order and groups, and what a search finds; nothing here touches the page.

// Without a reading in its block a valve has a guess but no priority that may be shown as known.
export const priorityOf = (thing) => (thing.measured === false || thing.priority === null ? "none" : thing.priority);

// Readings of other visits were never meant for this map; they are not among those left out of it.
export const kindOf = (reading) => (reading.used ? "used" : reading.flags.includes("outside_visit") ? "others" : "leftOut");

export function byKind(readings) {
  const groups = { used: [], leftOut: [], others: [] };
  for (const reading of readings) groups[kindOf(reading)].push(reading);
  return groups;
}

// As people type on a phone: without accents, in either case.
export const folded = (text) => String(text ?? "").normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase();

const spread = ({ words, runs }) => {
  const out = [];
  for (let i = 0; i < runs.length; i += 2) for (let n = 0; n < runs[i + 1]; n += 1) out.push(words[runs[i]]);
  return out;
};

const twoDigits = (n) => String(n).padStart(2, "0");

// Readings of other visits, which come packed column by column, as readings like all others.
export function unpackOthers(packed) {
  const tree = spread(packed.tree), days = spread(packed.day), block = spread(packed.block), valve = spread(packed.valve), flags = spread(packed.flags);
  let latitude = 0, longitude = 0, step = 0, nameless = 0;
  const place = () => {
    if (packed.steps[step] === null) { step += 1; return null; }
    latitude += packed.steps[step];
    longitude += packed.steps[step + 1];
    step += 2;
    return [latitude / 1e5, longitude / 1e5];
  };
  return tree.map((name, i) => {
    const minutes = packed.clock[i];
    const clock = minutes === null ? "" : `T${twoDigits(Math.floor(minutes / 60))}:${twoDigits(minutes % 60)}`;
    const row = name === null ? packed.rows[nameless] : null;
    if (name === null) nameless += 1;
    return {
      row, tree: name, time: days[i] === null ? null : days[i] + clock, used: false, flags: flags[i].split(";"), block: block[i], valve: valve[i],
      pressure: packed.pressure[i], stress: packed.stress[i], predicted: null, vpd: null, tooWet: false, at: place(),
    };
  });
}

const latestFirst = (a, b) => (a.time === b.time ? 0 : (a.time ?? "") < (b.time ?? "") ? 1 : -1);

// Valves by their own or their block's name, trees by theirs, those of other visits apart and the latest first; without a
// query all valves and no tree.
export function search(query, valves, readings) {
  const wanted = folded(query.trim());
  const hit = (...names) => !wanted || names.some((name) => folded(name).includes(wanted));
  const found = wanted ? readings.filter((reading) => reading.tree && hit(reading.tree)) : [];
  const { used, leftOut, others } = byKind(found);
  return {
    asked: wanted !== "",
    valves: valves.filter((valve) => hit(valve.valve, valve.block)),
    trees: [...used, ...leftOut],
    others: others.sort(latestFirst),
  };
}

// The chosen valve first, then by rank; those without one last, in the order they came in.
export function inRankOrder(valves, chosen) {
  const place = (valve) => (valve === chosen ? -1 : valve.rank ?? Infinity);
  return [...valves].sort((a, b) => (place(a) === place(b) ? 0 : place(a) - place(b)));
}

// Every opening of the plan, those day after day one by one, in the order of the clock. Times are the ranch's own, as text.
export function openings(valves) {
  const out = [];
  for (const valve of valves) {
    for (const [start, end, times = 1] of valve.plan ? valve.plan.sets : []) {
      for (let n = 0; n < times; n += 1) out.push({ valve, start: daysLater(start, n), end: daysLater(end, n) });
    }
  }
  return out.sort((a, b) => (a.start === b.start ? 0 : a.start < b.start ? -1 : 1));
}

function daysLater(text, days) {
  if (!days) return text;
  const moment = new Date(`${text}Z`);
  moment.setUTCDate(moment.getUTCDate() + days);
  return moment.toISOString().slice(0, text.length);
}

// The clock of a time zone, as text that compares with the plan's; null where the device does not know the zone.
export function clockIn(zone, moment) {
  try {
    const parts = new Intl.DateTimeFormat("en", { timeZone: zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit" }).formatToParts(moment);
    const part = (type) => parts.find((one) => one.type === type).value;
    return `${part("year")}-${part("month")}-${part("day")}T${part("hour")}:${part("minute")}`;
  } catch {
    return null;
  }
}

// What is open at that clock, and what is opened next: all that open at the same minute.
export function atTheClock(all, now) {
  if (now === null) return { open: [], next: [] };
  const later = all.filter(({ start }) => start > now);
  return { open: all.filter(({ start, end }) => start <= now && now < end), next: later.filter(({ start }) => start === later[0].start) };
}

// Whether a valve is the first of a group whose order cannot be told apart.
export const beginsTie = ({ tied, rank }) => Boolean(tied) && tied[0] === rank;

// Crops by their edges between priorities, each set of edges once.
export function cropsByEdges(edgesOf) {
  const groups = new Map();
  for (const [crop, edges] of Object.entries(edgesOf)) {
    const key = edges.join();
    groups.set(key, { edges, crops: [...(groups.get(key)?.crops ?? []), crop] });
  }
  return [...groups.values()];
}

// The colour of a change [bar] between two visits on a ramp that ends at the most; the middle where it is not clear.
export function changeColour(change, ramp, most, none) {
  if (!change || change.bar === null) return none;
  if (!change.clear) return ramp[(ramp.length - 1) / 2];
  const share = (Math.max(-most, Math.min(most, change.bar)) / most + 1) / 2;
  return ramp[Math.round(share * (ramp.length - 1))];
}
