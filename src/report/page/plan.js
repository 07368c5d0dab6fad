// Maps in plan on a 2-D canvas: every layer small, and the large view where there is no WebGL.

/** How the plan lies on a canvas: nose to the right, y up; upright on a tall canvas. */
function planFrame(width, height) {
  const [x0, x1] = range(mesh.x), [y0, y1] = range(mesh.y), room = 8;
  const k = Math.min((width - 2 * room) / (x1 - x0), (height - 2 * room) / (y1 - y0));
  const [ox, oy] = [(width - k * (x1 - x0)) / 2, (height - k * (y1 - y0)) / 2];
  return { k, to: (x, y) => [ox + k * (x - x0), oy + k * (y1 - y)], from: (u, v) => [x0 + (u - ox) / k, y1 - (v - oy) / k] };
}
/** Contour segments of a layer at multiples of a step, by marching squares. */
function contours(layer, step) {
  const [nx, ny] = layer.nodes, out = [];
  for (let i = 0; i < nx - 1; i++) for (let j = 0; j < ny - 1; j++) {
    const corner = [[i, j], [i + 1, j], [i + 1, j + 1], [i, j + 1]], v = corner.map(([a, b]) => layer.values[a * ny + b]);
    if (!v.every(Number.isFinite)) continue;
    for (let k = Math.ceil(Math.min(...v) / step); k * step < Math.max(...v); k++) {
      const cuts = [];
      for (let e = 0; e < 4; e++) {
        const f = (e + 1) % 4, level = k * step;
        if (v[e] > level === v[f] > level) continue;
        const t = (level - v[e]) / (v[f] - v[e]);
        cuts.push([0, 1].map((d) => layer.origin_mm[d] + layer.step_mm * (corner[e][d] + t * (corner[f][d] - corner[e][d]))));
      }
      for (let c = 0; c + 1 < cuts.length; c += 2) out.push([cuts[c], cuts[c + 1]]);
    }
  }
  return out;
}
function tracePlan(c, frame, x, y, count, closed) {
  c.beginPath();
  for (let i = 0; i < count; i++) c.lineTo(...frame.to(x[i], y[i]));
  if (closed) c.closePath();
}
function drawPlan(canvas, layer, options = {}) {
  const ratio = Math.min(2, window.devicePixelRatio || 1), w = canvas.clientWidth || 400, h = canvas.clientHeight || w / 3;
  Object.assign(canvas, { width: Math.round(w * ratio), height: Math.round(h * ratio) });
  const c = canvas.getContext("2d"), frame = planFrame(w, h), [nx, ny] = layer.nodes;
  c.scale(ratio, ratio);
  // patterns need several pixels a cell, and a period that shows at the canvas's size
  const fine = layer.zones.length ? 6 : 1, period = 9 / frame.k, part = layer.step_mm / fine;
  const cells = painted(nx * fine, ny * fine, (a, b) => {
    const j = ny * fine - 1 - b, node = Math.floor(a / fine) * ny + Math.floor(j / fine), v = layer.values[node];
    if (layer.own && Number.isFinite(v)) return ownAt(layer, node);
    return Number.isFinite(v) ? patternedColour(layer, v, (a * part) / period, (j * part) / period) : null;
  });
  c.save();
  tracePlan(c, frame, mesh.x, mesh.y, mesh.border, true);
  c.fillStyle = css("--wood");
  c.fill();
  c.clip();
  const half = layer.step_mm / 2, [u, v] = frame.to(layer.origin_mm[0] - half, layer.origin_mm[1] - half + ny * layer.step_mm);
  c.imageSmoothingEnabled = layer.key !== "residual" && layer.colours !== "gap";
  c.drawImage(cells, u, v, nx * layer.step_mm * frame.k, ny * layer.step_mm * frame.k);
  if (contourStep(layer) && options.contours !== false) {
    c.strokeStyle = "rgba(0,0,0,.35)";
    c.lineWidth = 0.7;
    c.beginPath();
    for (const [a, b] of contours(layer, contourStep(layer))) { c.moveTo(...frame.to(...a)); c.lineTo(...frame.to(...b)); }
    c.stroke();
  }
  c.restore();
  tracePlan(c, frame, mesh.x, mesh.y, mesh.border, true);
  c.strokeStyle = css("--ink");
  c.lineWidth = 1;
  c.stroke();
  if (options.lines !== false) for (const l of board.lines) { tracePlan(c, frame, l.x, l.y, l.x.length, l.closed); c.stroke(); }
  if (options.points) for (const p of board.points) {
    c.fillStyle = `rgb(${ROLES[p.role].rgb})`;
    for (let i = 0; i < p.x.length; i++) { const [a, b] = frame.to(p.x[i], p.y[i]); c.fillRect(a - 0.7, b - 0.7, 1.4, 1.4); }
  }
  return frame;
}
/** What became of the scan's points, from above and from the side; the marks differ in shape as well as in colour. */
const ROLES = {
  kept: { rgb: [0, 114, 178], shape: "square" },
  standing: { rgb: [230, 159, 0], shape: "triangle" },
  floor: { rgb: [120, 120, 120], shape: "dash" },
  other: { rgb: [204, 121, 167], shape: "cross" },
  largest: { rgb: [0, 158, 115], shape: "square" },
  unexplained: { rgb: [213, 94, 0], shape: "cross" },
};
const SHAPES = {
  square: (c, x, y, r) => c.fillRect(x - r * 0.7, y - r * 0.7, 1.4 * r, 1.4 * r),
  triangle: (c, x, y, r) => { c.beginPath(); c.moveTo(x, y - 1.6 * r); c.lineTo(x + 1.5 * r, y + r); c.lineTo(x - 1.5 * r, y + r); c.fill(); },
  dash: (c, x, y, r) => c.fillRect(x - 1.5 * r, y - r / 3, 3 * r, r * 0.7),
  cross: (c, x, y, r) => { c.fillRect(x - 1.5 * r, y - r / 3, 3 * r, r * 0.7); c.fillRect(x - r / 3, y - 1.5 * r, r * 0.7, 3 * r); },
};
/** Fewer points than this are drawn larger. */
const FEW_MARKS = 1000;
function drawPoints(canvas, side) {
  const ratio = Math.min(2, window.devicePixelRatio || 1), w = canvas.clientWidth, up = side ? "z" : "y", room = 10;
  const ends = (key) => board.points.map((p) => range(p[key])).reduce(([a, b], [l, m]) => [Math.min(a, l), Math.max(b, m)], [Infinity, -Infinity]);
  // strays far off would leave the board a line: heights are shown as far as nearly all points reach
  const sorted = board.points.flatMap((p) => [...p[up]]).sort((a, b) => a - b), share = (q) => sorted[Math.round(q * (sorted.length - 1))];
  const [x0, x1] = ends("x"), [low, high] = [share(0.004), share(0.996)];
  // points in a plane, on a line or in one place have no height of their own
  const length = x1 - x0 || 1, margin = Math.max(0.04 * (high - low), 0.01 * length), [y0, y1] = [low - margin, high + margin];
  const most = (side ? 0.35 : 0.6) * w, mark = sorted.length < FEW_MARKS ? 3 : board.refusal && w > 800 ? 1.6 : 1;
  // what is as high as long is drawn smaller, not squeezed
  const k = Math.min((w - 2 * room) / length, most / (y1 - y0));
  const tall = Math.min(side ? 4 * k : k, most / (y1 - y0)), h = tall * (y1 - y0) + 2 * room;
  canvas.style.aspectRatio = `${w / h}`;
  Object.assign(canvas, { width: Math.round(w * ratio), height: Math.round(h * ratio) });
  const c = canvas.getContext("2d");
  c.scale(ratio, ratio);
  for (const p of board.points) {
    c.fillStyle = `rgb(${ROLES[p.role].rgb})`;
    c.globalAlpha = p.role === "kept" ? 0.7 : 0.85;
    for (let i = 0; i < p.x.length; i++) SHAPES[ROLES[p.role].shape](c, w / 2 + k * (p.x[i] - (x0 + x1) / 2), h / 2 - tall * (p[up][i] - (y0 + y1) / 2), mark);
  }
  return tall / k;
}
