// Plots as SVG: axes in round steps, hover and arrow keys read values.
const SVG = "http://www.w3.org/2000/svg";
const svg = (tag, attributes, ...children) => {
  const e = document.createElementNS(SVG, tag);
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
  e.append(...children);
  return e;
};
const hint = (text) => html("span", { class: "about" }, text);
/** Draws { along, up, unit, curves, zones, marks, dots, height, xRange } into `box` and returns the plot. */
function drawPlot(box, plot) {
  const w = Math.max(280, box.clientWidth || 600), h = plot.height || Math.round(Math.min(240, 120 + w / 8));
  const [left, right, top, bottom] = [52, 10, 22, 40];
  const xs = plot.xRange || range(plot.curves.flatMap((c) => range(c.x)));
  const bands = plot.curves.flatMap((c) => [...c.y].flatMap((v, i) => (c.band?.length ? [v - c.band[i], v + c.band[i]] : [v])));
  let ys = range([...bands, ...(plot.dots ? plot.dots.y : []), ...(plot.zero ? [0] : [])]);
  const pad = Math.max((ys[1] - ys[0]) * 0.06, 1e-6);
  ys = [ys[0] - pad, ys[1] + pad];
  const X = (v) => left + ((v - xs[0]) / (xs[1] - xs[0])) * (w - left - right), Y = (v) => h - bottom - ((v - ys[0]) / (ys[1] - ys[0])) * (h - top - bottom);
  const picture = svg("svg", { class: "plot", viewBox: `0 0 ${w} ${h}`, tabindex: "0", role: "img", "aria-label": `${plot.title || plot.up}: ${plot.up} in ${plot.unit}, ${plot.along}. Left and right arrow keys read values.` });
  const line = (cls, a, b, c, d) => picture.append(svg("line", { class: cls, x1: a, y1: b, x2: c, y2: d }));
  const text = (x, y, anchor, s) => picture.append(svg("text", { x, y, "text-anchor": anchor }, s));
  (plot.zones || []).forEach((z, i) => {
    const a = Math.max(ys[0], z.above ?? -Infinity), b = Math.min(ys[1], z.below ?? Infinity);
    if (a >= b) return;
    if (i % 2 === 0) picture.append(svg("rect", { class: "zone", x: left, width: w - left - right, y: Y(b), height: Y(a) - Y(b) }));
    text(w - right - 4, (Y(a) + Y(b)) / 2 + 4, "end", z.name);
  });
  const xt = ticksOf(...xs, w / 64), yt = ticksOf(...ys, h / 45);
  for (const v of yt.ticks) { line(Math.abs(v) < 1e-9 ? "zero" : "axis", left, Y(v), w - right, Y(v)); text(left - 6, Y(v) + 4, "end", words(v, "", yt.step)); }
  for (const v of xt.ticks) { line("axis", X(v), h - bottom, X(v), h - bottom + 4); text(X(v), h - bottom + 17, "middle", words(v, "", xt.step)); }
  text(4, 13, "start", `${plot.up}, ${plot.unit}`);
  text(w - right, h - 6, "end", plot.along);
  for (const m of plot.marks || []) { line("mark", X(m.at), top, X(m.at), h - bottom); text(X(m.at), top - 4, "middle", m.name); }
  if (plot.dots) picture.append(svg("g", { class: "dot" }, ...[...plot.dots.x].map((v, i) => svg("circle", { cx: X(v).toFixed(1), cy: Y(plot.dots.y[i]).toFixed(1), r: 1.8 }))));
  plot.curves.forEach((c, k) => {
    if (c.band?.length) {
      const there = (s) => [...c.x].map((v, i) => `${X(v).toFixed(1)} ${Y(c.y[i] + s * c.band[i]).toFixed(1)}`);
      picture.append(svg("path", { class: "band", d: `M${there(1).join("L")}L${there(-1).reverse().join("L")}Z` }));
    }
    let pen = "M", d = "";
    for (let i = 0; i < c.x.length; i++) {
      if (Number.isFinite(c.y[i])) { d += `${pen}${X(c.x[i]).toFixed(1)} ${Y(c.y[i]).toFixed(1)}`; pen = "L"; } else pen = "M";
    }
    picture.append(svg("path", { class: k ? "curve other" : "curve", d }));
  });
  const cursor = svg("g", {}), out = html("p", { class: "readout", "aria-live": "polite" }, hint("Point at the curve, or use the arrow keys, for values."));
  picture.append(cursor);
  const first = plot.curves[0];
  let at = first.x.length >> 1;
  const read = () => {
    const x = first.x[at];
    cursor.replaceChildren(svg("line", { class: "cursor", x1: X(x), x2: X(x), y1: top, y2: h - bottom }));
    const value = (c) => {
      const band = c.band?.length ? ` ± ${words(c.band[at], "")}` : "", v = c.y[at];
      const radius = plot.unit === "1/m" && Math.abs(v) > 1e-3 ? ` (radius ${words(Math.abs(1 / v), "m")})` : "";
      return `${c.name} ${words(v, "")}${band} ${plot.unit}${radius}`;
    };
    out.textContent = `at ${words(x, "mm", 1)}: ${plot.curves.map(value).join(", ")}`;
  };
  picture.addEventListener("pointermove", (e) => {
    const b = picture.getBoundingClientRect(), x = xs[0] + ((((e.clientX - b.left) / b.width) * w - left) / (w - left - right)) * (xs[1] - xs[0]);
    at = first.x.reduce((best, v, i) => (Math.abs(v - x) < Math.abs(first.x[best] - x) ? i : best), 0);
    read();
  });
  picture.addEventListener("keydown", (e) => {
    const step = { ArrowLeft: -1, ArrowRight: 1, PageUp: 10, PageDown: -10 }[e.key];
    if (!step) return;
    at = Math.max(0, Math.min(first.x.length - 1, at + step));
    read();
    e.preventDefault();
  });
  box.replaceChildren(picture, out);
  return picture;
}
