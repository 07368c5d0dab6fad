// Data: what a page shows, with its packed numbers unpacked.
let page, board, mesh;

function bytesOf(text) {
  const raw = atob(text), bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  return bytes;
}
/** { least, step, data } -> Float64Array; the greatest 16-bit count is "not a number". */
function numbersOf(packed) {
  const view = new DataView(bytesOf(packed.data).buffer), out = new Float64Array(view.byteLength / 2);
  for (let i = 0; i < out.length; i++) {
    const count = view.getUint16(2 * i, true);
    out[i] = count === 65535 ? NaN : packed.least + packed.step * count;
  }
  return out;
}
/** { bytes, data } -> Uint32Array. */
function indicesOf(packed) {
  const view = new DataView(bytesOf(packed.data).buffer), out = new Uint32Array(view.byteLength / packed.bytes);
  for (let i = 0; i < out.length; i++) {
    out[i] = packed.bytes === 2 ? view.getUint16(2 * i, true) : view.getUint32(4 * i, true);
  }
  return out;
}
function unpack(value) {
  if (Array.isArray(value)) return value.map(unpack);
  if (value === null || typeof value !== "object") return value;
  if ("data" in value) return "least" in value ? numbersOf(value) : indicesOf(value);
  return Object.fromEntries(Object.entries(value).map(([k, v]) => [k, unpack(v)]));
}
/** Takes what is shown from now on. */
function openData(data) {
  page = data;
  board = unpack(page);
  mesh = board.mesh;
  for (const layer of board.layers) layer.own = layer.rgb ? bytesOf(layer.rgb) : null;
  board.height = board.layers.find((l) => l.key === "height");
}
/** Own colour of a layer's node. */
const ownAt = (layer, node) => layer.own.subarray(3 * node, 3 * node + 3);

/** The layer's value at a place in plan, from the nearest four nodes; NaN where there is none. */
function valueAt(layer, x, y) {
  const [nx, ny] = layer.nodes;
  const u = (x - layer.origin_mm[0]) / layer.step_mm, v = (y - layer.origin_mm[1]) / layer.step_mm;
  const i = Math.floor(u), j = Math.floor(v);
  if (i < 0 || j < 0 || i >= nx - 1 || j >= ny - 1) return NaN;
  let sum = 0, weight = 0;
  for (const [a, b] of [[0, 0], [1, 0], [0, 1], [1, 1]]) {
    const value = layer.values[(i + a) * ny + j + b];
    const w = (a ? u - i : 1 - u + i) * (b ? v - j : 1 - v + j);
    if (Number.isFinite(value)) { sum += w * value; weight += w; }
  }
  return weight > 0.25 ? sum / weight : NaN;
}
function insideOutline(x, y) {
  let inside = false;
  for (let i = 0, n = mesh.border, j = n - 1; i < n; j = i++) {
    if (mesh.y[i] > y !== mesh.y[j] > y &&
        x < mesh.x[j] + ((y - mesh.y[j]) / (mesh.y[i] - mesh.y[j])) * (mesh.x[i] - mesh.x[j])) inside = !inside;
  }
  return inside;
}
const range = (array) => {
  let lo = Infinity, hi = -Infinity;
  for (const v of array) if (Number.isFinite(v)) { lo = Math.min(lo, v); hi = Math.max(hi, v); }
  return lo <= hi ? [lo, hi] : [0, 1];
};
/** Round steps 1, 2, 5 x 10^k: about `count` of them between lo and hi. */
function ticksOf(lo, hi, count) {
  const raw = Math.max(hi - lo, 1e-9) / count, power = 10 ** Math.floor(Math.log10(raw));
  const step = power * [1, 2, 5, 10].find((m) => m * power >= raw * 0.999);
  const ticks = [];
  for (let k = Math.ceil(lo / step - 1e-9); k * step <= hi + 1e-9 * step; k++) ticks.push(k * step);
  return { step, ticks };
}
function words(value, unit, step) {
  if (!Number.isFinite(value)) return "no value";
  const digits = step ? Math.max(0, Math.min(4, Math.ceil(-Math.log10(step) - 1e-9))) : Math.abs(value) < 10 ? 2 : 1;
  const text = value.toFixed(digits);
  return (Number(text) === 0 ? text.replace("-", "") : text.replace("-", "−")) + (unit ? " " + unit : "");
}
const html = (tag, attributes = {}, ...children) => {
  const e = document.createElement(tag);
  for (const [k, v] of Object.entries(attributes)) k.startsWith("on") ? e.addEventListener(k.slice(2), v) : e.setAttribute(k, v);
  e.append(...children);
  return e;
};
