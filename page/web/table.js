// The table of a board.toml as plain values, and lengths as people type them.

/** Value at a path such as "tape.width" or "part.0.at", or undefined. @param {object} table @param {string} path */
export function valueOf(table, path) {
  return path.split(".").reduce((t, key) => (t === undefined || t === null ? undefined : t[key]), table);
}
/** A copy with the value at a path; undefined or "" takes the key out, and a table left empty with it. */
export function withValue(table, path, value) {
  const [key, ...rest] = path.split("."), copy = Array.isArray(table) ? [...table] : { ...table };
  const next = rest.length ? withValue(copy[key] ?? {}, rest.join("."), value) : value;
  const empty = next === undefined || next === "" || (typeof next === "object" && !Array.isArray(next) && !Object.keys(next).length);
  if (!empty) copy[key] = next;
  else if (Array.isArray(copy)) copy.splice(Number(key), 1);
  else delete copy[key];
  return copy;
}

const MM = { mm: 1, cm: 10, m: 1000, in: 25.4, inch: 25.4, '"': 25.4 };
/** Length in mm of a text such as "209.5 mm", "8 1/4 in" or "-46 mm"; NaN where it is none. The engine has the last word. @param {string} text */
export function mmOf(text) {
  const m = /^\s*(-?)\s*(?:(\d+(?:[.,]\d+)?)(?:\s+(\d+)\/(\d+))?|(\d+)\/(\d+))\s*(mm|cm|m|inch|in|")\s*$/.exec(text ?? "");
  if (!m) return NaN;
  const whole = m[2] ? Number(m[2].replace(",", ".")) : 0, part = m[3] ? m[3] / m[4] : m[5] ? m[5] / m[6] : 0;
  return (m[1] ? -1 : 1) * (whole + part) * MM[m[7]];
}
/** What is typed, with the unit chosen beside it where it names none. @param {string} typed @param {string} unit */
export function withUnit(typed, unit) {
  const t = typed.trim();
  return t && /^[\d\s.,/+-]+$/.test(t) ? `${t.replace(",", ".")} ${unit}` : t;
}
/** A length as the page writes it, to a tenth of a mm. @param {number} mm */
export const lengthText = (mm) => `${Number(mm.toFixed(1)) + 0} mm`;

/** A sentence from an error or a warning of the engine. @param {string} s */
export function sentence(s) {
  const t = (s ?? "").trim();
  return t && t[0].toUpperCase() + t.slice(1) + (/[.!?]$/.test(t) ? "" : ".");
}
/** The last part of a path, with either slash. @param {string} path */
export const fileName = (path) => path.split(/[\\/]/).pop();
/** Names of the files that a table asks for. @param {object} table */
export function filesAsked(table) {
  const scan = table.scan ?? {}, photos = [table.photo ?? []].flat();
  return [...(scan.files ?? [scan.file]), ...photos.flatMap((p) => [p.file, p.mask, p.path]), table.enclosure?.footprint].filter(Boolean);
}
