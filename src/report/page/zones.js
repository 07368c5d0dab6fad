// Zones (verdicts): a word and a pattern besides the colour, the same on the board, in maps, on scales and in plots.
/** Patterns: 0 plain, 1 and 2 strokes, 3 both, 4 dots. What is as it should be is plain. */
const PATTERNS = { clash: 3, hard: 4, sealed: 0, light: 2, open: 1 };
const zoneOf = (layer, value) => layer.zones.find((z) => value >= (z.above ?? -Infinity) && value < (z.below ?? Infinity));
const patternOf = (zone) => PATTERNS[zone?.name] ?? 0;
/** Whether a pattern has ink at a place, in periods of the pattern; the shader of the 3-D view says the same. */
function inked(kind, u, v) {
  const part = (t) => t - Math.floor(t), one = kind & 1 && part(u + v) < 0.28, two = kind & 2 && part(u - v) < 0.28;
  return kind === 4 ? Math.hypot(part(u) - 0.5, part(v) - 0.5) < 0.26 : Boolean(one || two);
}
const light = ([r, g, b]) => 0.3 * r + 0.59 * g + 0.11 * b;
/** A colour under a pattern's ink: dark on light, light on dark. */
const inkOn = (rgb) => rgb.map((c) => Math.round(0.3 * c + 0.7 * (light(rgb) > 110 ? 20 : 245)));
/** Colour of a value with the pattern of its zone. */
function patternedColour(layer, value, u, v) {
  const rgb = colourOf(layer, value);
  return inked(patternOf(zoneOf(layer, value)), u, v) ? inkOn(rgb) : rgb;
}
/** A value in words: with unit and verdict. */
function valueWords(layer, value) {
  const zone = zoneOf(layer, value);
  return words(value, layer.unit) + (zone ? `: ${zone.name}` : "");
}
function zoneWords(zone, unit) {
  const [from, to] = [zone.above, zone.below].map((v) => (v === null ? "" : words(v, unit, 0.1)));
  return `${zone.name}: ${from && to ? `${from} to ${to}` : from ? `over ${from}` : `below ${to}`}`;
}
/** Fills a canvas pixel by pixel. */
function painted(width, height, colourAt, attributes = {}) {
  const canvas = html("canvas", { width, height, "aria-hidden": "true", ...attributes }), image = new ImageData(width, height);
  for (let j = 0; j < height; j++) for (let i = 0; i < width; i++) {
    const rgb = colourAt(i, j);
    if (rgb) image.data.set([...rgb, 255], 4 * (j * width + i));
  }
  canvas.getContext("2d").putImageData(image, 0, 0);
  return canvas;
}
/** Pixels of a pattern's period on scales. */
const PERIOD_PX = 9;
/** A bar with its values, its unit and its named zones. */
function scaleBar(layer) {
  // a scan's own colours have no scale
  if (layer.own) return html("div", {});
  const [w, h] = [512, 18], at = (t) => layer.least + t * (layer.most - layer.least);
  const bar = painted(w, h, (i, j) => patternedColour(layer, at(i / (w - 1)), i / PERIOD_PX, j / PERIOD_PX), { class: "bar" });
  // ticks stand where their words say, at round values
  const { step, ticks } = ticksOf(layer.least, layer.most, 5), part = (v) => 100 * (v - layer.least) / (layer.most - layer.least);
  const list = html("ol", {}, ...ticks.map((v, i) => html("li", { style: `left:${part(v)}%` }, words(v, i === ticks.length - 1 ? layer.unit : "", step))));
  const zones = layer.zones.map((z) => {
    const middle = ((z.above ?? layer.least - 1) + (z.below ?? layer.most + 1)) / 2;
    return html("li", {}, painted(34, h, (i, j) => patternedColour(layer, middle, i / PERIOD_PX, j / PERIOD_PX)), zoneWords(z, layer.unit));
  });
  return html("div", { class: "scale" }, bar, list, ...(zones.length ? [html("ul", { class: "key" }, ...zones)] : []));
}
