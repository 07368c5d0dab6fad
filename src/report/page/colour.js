// Colours. Lightness rises evenly along `rising`, and falls evenly from the middle of `signed`, so that both read in grey
// and for colour-blind readers.
const RAMPS = {
  rising: [[0, 32, 96], [62, 78, 108], [124, 123, 120], [190, 178, 96], [255, 233, 69]],
  signed: [[20, 58, 128], [104, 148, 204], [240, 238, 232], [222, 150, 74], [128, 58, 0]],
};
RAMPS.gap = RAMPS.rising;
const CLASH = [213, 94, 0];

/** Colour at 0..1 of a ramp. */
function rampAt(name, t) {
  const stops = RAMPS[name], u = Math.max(0, Math.min(1, t)) * (stops.length - 1), i = Math.min(stops.length - 2, Math.floor(u));
  return stops[i].map((c, k) => Math.round(c + (stops[i + 1][k] - c) * (u - i)));
}
function colourOf(layer, value) {
  if (layer.colours === "gap" && value < 0) return CLASH;
  return rampAt(layer.colours, (value - layer.least) / (layer.most - layer.least));
}
const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const cssRgb = (name) => {
  const hex = css(name).replace("#", ""), full = hex.length === 3 ? [...hex].map((c) => c + c).join("") : hex;
  return [0, 2, 4].map((i) => parseInt(full.slice(i, i + 2), 16));
};
/** Step between contour lines of a layer, 0 for none: on noise, on error and on narrow rims they would be a tangle. */
const contourStep = (layer) => (layer.key === "height" ? ticksOf(layer.least, layer.most, 8).step : 0);
