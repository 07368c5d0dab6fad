// Colours. Lightness rises evenly along `rising`, and falls evenly from the middle of `signed`, so that both read in grey
// and for colour-blind readers; a clash is hatched besides.
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
/** Step between contour lines of a layer, 0 for none: on noise and narrow rims they would be a tangle. */
const contourStep = (layer) => (layer.colours === "rising" ? ticksOf(layer.least, layer.most, 8).step : 0);

/** A bar with its values, its unit and its named zones. */
function scaleBar(layer) {
  const canvas = html("canvas", { width: 512, height: 1, "aria-hidden": "true" }), c = canvas.getContext("2d");
  for (let i = 0; i < 512; i++) {
    c.fillStyle = `rgb(${rampAt(layer.colours, i / 511)})`;
    c.fillRect(i, 0, 1, 1);
  }
  const steps = [0, 0.25, 0.5, 0.75, 1].map((t) => layer.least + t * (layer.most - layer.least));
  const about = layer.colours === "gap" ? ["below zero is orange and hatched"] : [];
  for (const z of layer.zones) {
    const [from, to] = [z.above, z.below].map((v) => (v === null ? "" : words(v, layer.unit, 0.1)));
    about.push(`${z.name}: ${from && to ? from + " to " + to : from ? "over " + from : "below " + to}`);
  }
  const list = html("ol", {}, ...steps.map((v) => html("li", {}, words(v, "", (layer.most - layer.least) / 20))), html("li", {}, layer.unit));
  return html("div", { class: "scale" }, canvas, list, ...(about.length ? [html("p", {}, about.join("; "))] : []));
}
