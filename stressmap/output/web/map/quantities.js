// How numbers and quantities are written. Units, factors and decimals come with the page: they are those of every
// other paper, and a test holds both writers together.

const PRECISION = 12; // Significant digits of a division that are sure: 0.575 / 0.01 is 57.49999999999999.

// Half away from zero, on the number as it is written in decimals; the answer is text, as 1.10 is not 1.1.
export function halfUp(size, digits) {
  if (size < 1e-6) return (0).toFixed(digits);
  const steps = String(Math.round(Number(`${size}e${digits}`))).padStart(digits + 1, "0");
  return digits ? `${steps.slice(0, -digits)}.${steps.slice(-digits)}` : steps;
}

export function numberText(value, digits, { decimal, thousands }) {
  const text = halfUp(Math.abs(value), digits);
  const [whole, rest] = text.split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, thousands);
  const sign = value < 0 && Number(text) !== 0 ? "\u2212" : "";
  return sign + grouped + (rest ? decimal + rest : "");
}

// What is something never reads as nothing, what is not all never as all.
export function inside(percent, digits) {
  let size = Math.abs(percent);
  const written = Number(halfUp(size, digits)), step = 10 ** -digits;
  if (size > 0 && written === 0) size = step;
  else if (size < 100 && written >= 100) size = 100 - step;
  return percent < 0 ? -size : size;
}

// A chance that would read as nothing or as all, and is neither, is under one per cent or over 99.
export function boundOf(percent) {
  if (percent <= 0 || percent >= 100) return "";
  const written = Number(halfUp(percent, 0));
  return written === 0 ? "under" : written === 100 ? "over" : "";
}

// The number of a quantity and the name of its unit; rules are { scales, parts }, as Python's page_rules gives them.
export function quantityText(value, kind, rules, marks) {
  const [, unit, factor, digits] = rules.scales[kind].find(([least]) => Math.abs(value) >= least);
  const sure = Number((value / factor).toPrecision(PRECISION));
  const number = rules.parts.includes(kind) ? inside(sure, digits) : sure;
  const written = { number: numberText(number, digits, marks), unit };
  const bound = kind === "chance" ? boundOf(sure) : "";
  return bound ? { ...written, bound } : written;
}

// Fills in a text; {count:1 tree|{count} trees} is the first where the count is 1.
export function filled(text, values = {}) {
  return text.replace(/\{(\w+)(?::((?:[^{}|]|\{\w+\})*)\|((?:[^{}]|\{\w+\})*))?\}/g, (_, part, one, many) => {
    if (one !== undefined) return filled(String(values[part]) === "1" ? one : many, values);
    return part in values ? String(values[part]) : "";
  });
}

export function hoursAndMinutes(hours) {
  const minutes = Number(halfUp(hours * 60, 0));
  return { hours: Math.floor(minutes / 60), minutes: String(minutes % 60).padStart(2, "0") };
}
