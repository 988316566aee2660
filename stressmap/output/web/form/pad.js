// What the number on the big keys becomes when one of them is pressed.
export const ERASE = "erase";
export const POINT = ".";
const MOST_DIGITS = 4; // Before the point.

export function pressed(text, key, decimals) {
  if (key === ERASE) return text.slice(0, -1);
  const [whole, part] = text.split(POINT);
  if (key === POINT) return decimals === 0 || part !== undefined ? text : `${text || "0"}${POINT}`;
  if (part !== undefined) return part.length < decimals ? text + key : text;
  if (whole === "0") return key;
  return whole.length < MOST_DIGITS ? text + key : text;
}

export function value(text) {
  return text === "" || Number.isNaN(Number(text)) ? null : Number(text);
}
