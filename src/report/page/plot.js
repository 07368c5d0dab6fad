// Plots as SVG: axes in round steps, hover and arrow keys read values.
const SVG = "http://www.w3.org/2000/svg";
const svg = (tag, attributes, ...children) => {
  const e = document.createElementNS(SVG, tag);
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
  e.append(...children);
  return e;
};
/** A pattern of zones.js as strokes over a box, clipped to it. */
function patternBox(kind, x, y, width, height) {
  const d = [], period = 2 * PERIOD_PX;
  for (let k = -height; k < width + height && kind; k += period) {
    if (kind & 1) d.push(`M${k} ${height}L${k + height} 0`);
    if (kind & 2) d.push(`M${k} 0L${k + height} ${height}`);
    if (kind === 4) for (let v = period / 4; v < height; v += period / 2) d.push(`M${k} ${v}h.01`);
  }
  return svg("svg", { x, y, width, height, overflow: "hidden" }, svg("rect", { class: kind ? "zone" : "zone plain", width, height }), svg("path", { class: kind === 4 ? "hatch dots" : "hatch", d: d.join("") || "M0 0" }));
}
/** Runs of indices without a break in the values. */
function runs(values) {
  const out = [];
  values.forEach((v, i) => {
    if (!Number.isFinite(v)) return;
    if (i && Number.isFinite(values[i - 1]) && out.length) out[out.length - 1].push(i);
    else out.push([i]);
  });
  return out;
}
const CURVES = ["curve", "curve other", "curve third"];
/** Draws { along, up, unit, curves, zones, marks, dots, height, xRange } into `box` and returns the plot. */
function drawPlot(box, plot) {
  const w = Math.max(200, box.clientWidth || 600), h = plot.height || (plot.zones?.length ? 300 : Math.round(Math.min(240, 120 + w / 8)));
  const [left, right, top, bottom] = [52, 10, plot.marks?.length ? 38 : 22, 40];
  const xs = plot.xRange || range(plot.curves.flatMap((c) => range(c.x)));
  const bands = plot.curves.flatMap((c) => [...c.y].flatMap((v, i) => (c.band?.length ? [v - c.band[i], v + c.band[i]] : [v])));
  let ys = range([...bands, ...(plot.dots ? plot.dots.y : []), ...(plot.zero ? [0] : [])]);
  const pad = Math.max((ys[1] - ys[0]) * 0.06, 1e-6);
  ys = [ys[0] - pad, ys[1] + pad];
  const X = (v) => left + ((v - xs[0]) / (xs[1] - xs[0])) * (w - left - right), Y = (v) => h - bottom - ((v - ys[0]) / (ys[1] - ys[0])) * (h - top - bottom);
  const picture = svg("svg", { class: "plot", viewBox: `0 0 ${w} ${h}`, tabindex: "0", role: "img", "aria-label": `${plot.title || plot.up}: ${plot.up} in ${plot.unit}, ${plot.along}. Left and right arrow keys read values.` });
  const line = (cls, a, b, c, d) => picture.append(svg("line", { class: cls, x1: a, y1: b, x2: c, y2: d }));
  const text = (x, y, anchor, s) => picture.append(svg("text", { x, y, "text-anchor": anchor }, s));
  const labels = [];
  (plot.zones || []).forEach((z) => {
    const a = Math.max(ys[0], z.above ?? -Infinity), b = Math.min(ys[1], z.below ?? Infinity);
    if (a >= b) return;
    picture.append(patternBox(patternOf(z), left, Y(b), w - left - right, Y(a) - Y(b)));
    // a zone lower than its word is told by its pattern and by the values alone
    if (Y(a) - Y(b) > 13) labels.push(() => {
      picture.append(svg("rect", { class: "label", x: left + 3, y: (Y(a) + Y(b)) / 2 - 8, width: 7.2 * z.name.length + 6, height: 16, rx: 3 }));
      text(left + 6, (Y(a) + Y(b)) / 2 + 4, "start", z.name);
    });
  });
  // a narrow plot keeps more than its middle's value
  const xt = ticksOf(...xs, Math.max(4.5, w / 64)), yt = ticksOf(...ys, h / 45);
  for (const v of yt.ticks) { line(Math.abs(v) < 1e-9 ? "zero" : "axis", left, Y(v), w - right, Y(v)); text(left - 6, Y(v) + 4, "end", words(v, "", yt.step)); }
  for (const v of xt.ticks) { line("axis", X(v), h - bottom, X(v), h - bottom + 4); text(X(v), h - bottom + 17, "middle", words(v, "", xt.step)); }
  text(4, 13, "start", `${plot.up}, ${plot.unit}`);
  // what a narrow plot has no room for is the remark in brackets
  const room = 6.2 * plot.along.length < w - right;
  text(w - right, h - 6, "end", room ? plot.along : plot.along.replace(/ \(.*/, ""));
  const marks = [...(plot.marks || [])].sort((a, b) => a.at - b.at);
  // where whole names would run into each other their numbers stand alone
  const close = marks.some((m, i) => i && X(m.at) - X(marks[i - 1].at) < 7 * m.name.length + 6);
  let free = 0;
  for (const m of marks) {
    line("mark", X(m.at), top, X(m.at), h - bottom);
    const name = close ? m.name.replace(/^\D+(?=\d)/, "") : m.name, half = 3.6 * name.length;
    const middle = Math.max(half + 4, Math.min(w - right - half, X(m.at)));
    if (middle - half > free) { text(middle, top - 5, "middle", name); free = middle + half + 3; }
  }
  if (plot.dots) picture.append(svg("g", { class: "dot" }, ...[...plot.dots.x].map((v, i) => svg("circle", { cx: X(v).toFixed(1), cy: Y(plot.dots.y[i]).toFixed(1), r: 1.8 }))));
  plot.curves.forEach((c, k) => {
    const pieces = runs(c.y), joined = (run, s) => run.map((i) => `${X(c.x[i]).toFixed(1)} ${Y(c.y[i] + s * (c.band?.[i] ?? 0)).toFixed(1)}`);
    if (c.band?.length) for (const run of pieces) picture.append(svg("path", { class: "band", d: `M${joined(run, 1).join("L")}L${joined(run, -1).reverse().join("L")}Z` }));
    picture.append(svg("path", { class: CURVES[k % 3], d: pieces.map((run) => `M${joined(run, 0).join("L")}${run.length > 1 ? "" : "h.01"}`).join("") || "M0 0" }));
  });
  labels.forEach((draw) => draw());
  const key = html("ul", { class: "key" }, ...plot.curves.map((c, k) => html("li", {}, svg("svg", { width: 30, height: 12, "aria-hidden": "true" }, svg("path", { class: CURVES[k % 3], d: "M1 6H29" })), c.name + (c.band?.length ? " with its band" : ""))));
  const cursor = svg("g", {}), out = html("p", { class: "readout", "aria-live": "polite" }, " ");
  picture.append(cursor);
  const first = plot.curves[0];
  let at = first.x.length >> 1;
  if (!Number.isFinite(first.x[at])) at = 0;
  const read = () => {
    const x = first.x[at];
    cursor.replaceChildren(svg("line", { class: "cursor", x1: X(x), x2: X(x), y1: top, y2: h - bottom }));
    const value = (c) => {
      const band = c.band?.length ? ` ± ${words(c.band[at], "")}` : "", v = c.y[at];
      const radius = plot.unit === "1/m" && Math.abs(v) > 1e-3 ? ` (radius ${words(Math.abs(1 / v), "m")})` : "";
      return `${c.name} ${words(v, "")}${band} ${plot.unit}${radius}`;
    };
    const told = plot.curves.filter((c) => Number.isFinite(c.y[at])).map((c) => value(c) + (plot.zones?.length ? ` (${zoneOf(plot, c.y[at])?.name ?? "no zone"})` : ""));
    out.textContent = `at ${words(x, "mm", 1)}: ${told.join(", ") || "no value"}`;
  };
  picture.addEventListener("pointermove", (e) => {
    const b = picture.getBoundingClientRect(), x = xs[0] + ((((e.clientX - b.left) / b.width) * w - left) / (w - left - right)) * (xs[1] - xs[0]);
    at = first.x.reduce((best, v, i) => (Math.abs(v - x) < Math.abs(first.x[best] - x) ? i : best), 0);
    read();
  });
  picture.addEventListener("keydown", (e) => {
    const step = { ArrowLeft: -1, ArrowRight: 1, PageUp: 10, PageDown: -10 }[e.key];
    if (!step) return;
    const last = first.x.length - 1, before = at;
    do at = Math.max(0, Math.min(last, at + step)); while (!Number.isFinite(first.x[at]) && at > 0 && at < last);
    if (!Number.isFinite(first.x[at])) at = before;
    read();
    e.preventDefault();
  });
  box.replaceChildren(picture, ...(plot.curves.length > 1 ? [key] : []), out);
  return picture;
}
