// Words and numbers as the page says them.

// Fills in a text; {count:1 tree|{count} trees} is the first where the count is 1.
export function filled(text, values = {}) {
  return text.replace(/\{(\w+)(?::((?:[^{}|]|\{\w+\})*)\|((?:[^{}]|\{\w+\})*))?\}/g, (_, part, one, many) => {
    if (one !== undefined) return filled(String(values[part]) === "1" ? one : many, values);
    return part in values ? String(values[part]) : `{${part}}`;
  });
}

export function numberText(value, digits, decimal) {
  const text = Math.abs(value).toFixed(digits);
  return (value < 0 && Number(text) !== 0 ? "\u2212" : "") + text.replace(".", decimal);
}

// Letters as a search compares them: no accents, no upper case.
export const folded = (text) => String(text || "").normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase().trim();

const cut = (text) => folded(text).split(/(\d+)/);

// Names in the order people expect: T2 before T10.
export function byName(one, other) {
  const [a, b] = [cut(one), cut(other)];
  for (let i = 0; i < Math.min(a.length, b.length); i += 1) {
    const gap = i % 2 ? Number(a[i]) - Number(b[i]) : 0;
    if (gap) return gap;
    if (a[i] !== b[i]) return a[i] < b[i] ? -1 : 1;
  }
  return a.length - b.length;
}
