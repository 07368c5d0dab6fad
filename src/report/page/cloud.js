// Points that are turned by hand, painted dot by dot with a depth for each pixel.

/** Colour of points that nobody has sorted yet and that have none of their own. */
const RAW = [60, 84, 100];

/** Fewer points than this are drawn larger: a board of small dots far apart is hard to see. */
const FEW = 20000;

/** Places and colours of points as the painter takes them. @param {Float32Array} places x, y, z of each @param {Uint8Array} colours red, green, blue of each */
function cloudOf(places, colours) {
  const n = places.length / 3, middle = [0, 0, 0], lo = [Infinity, Infinity, Infinity], hi = [-Infinity, -Infinity, -Infinity];
  for (let k = 0; k < 3; k++) {
    // the box of nearly all: strays must not make the board a speck
    const sorted = Float32Array.from({ length: Math.min(n, 4000) }, (_, i) => places[3 * Math.floor((i * n) / Math.min(n, 4000)) + k]).sort();
    [lo[k], hi[k]] = [sorted[Math.floor(0.01 * sorted.length)], sorted[Math.max(0, Math.ceil(0.99 * sorted.length) - 1)]];
    middle[k] = (lo[k] + hi[k]) / 2;
  }
  return { places, colours, n, middle, lo, hi, extent: Math.hypot(...[0, 1, 2].map((k) => hi[k] - lo[k])) || 1 };
}

/** The cloud of kinds of points { role, x, y, z }, each in its colour. */
function cloudOfKinds(kinds) {
  const n = kinds.reduce((a, p) => a + p.x.length, 0), places = new Float32Array(3 * n), colours = new Uint8Array(3 * n);
  let i = 0;
  for (const p of kinds) for (let k = 0; k < p.x.length; k++, i++) { places.set([p.x[k], p.y[k], p.z[k]], 3 * i); colours.set(ROLES[p.role].rgb, 3 * i); }
  return cloudOf(places, colours);
}

/** Eye direction, right and up for a turn and a lift. */
function axesOf(turn, lift) {
  const [s, c, sl, cl] = [Math.sin(turn), Math.cos(turn), Math.sin(lift), Math.cos(lift)];
  return { right: [c, s, 0], up: [-s * sl, c * sl, cl], eye: [cl * s, -cl * c, sl] };
}

/** A view of points on a canvas. */
function cloudView(canvas, background) {
  const view = { turn: -0.5, lift: 0.9, far: 1, cloud: null, box: null };
  const project = (p, ax, k, w, h) => {
    const d = [0, 1, 2].map((i) => p[i] - view.cloud.middle[i]), dot = (a) => a[0] * d[0] + a[1] * d[1] + a[2] * d[2];
    return [w / 2 + k * dot(ax.right), h / 2 - k * dot(ax.up)];
  };
  /** Pixels to a unit of length on a canvas of w by h pixels. */
  const pixels = (w, h) => (1.12 * Math.min(w, 1.7 * h)) / (view.cloud.extent * view.far);
  /** Comes as near as leaves the whole box of the points in the picture. */
  view.fit = () => {
    view.far = 1;
    const { lo, hi } = view.cloud, [w, h] = [canvas.clientWidth || 1, canvas.clientHeight || 1], ax = axesOf(view.turn, view.lift);
    const corners = [0, 1, 2, 3, 4, 5, 6, 7].map((m) => project([0, 1, 2].map((q) => (m >> q & 1 ? hi[q] : lo[q])), ax, pixels(w, h), w, h));
    view.far = Math.max(...corners.flatMap(([u, v]) => [Math.abs(2 * u / w - 1), Math.abs(2 * v / h - 1)])) / 0.94 || 1;
  };
  view.draw = () => {
    const ratio = Math.min(2, devicePixelRatio || 1), w = Math.max(1, Math.round(canvas.clientWidth * ratio)), h = Math.max(1, Math.round(canvas.clientHeight * ratio));
    if (canvas.width !== w || canvas.height !== h) Object.assign(canvas, { width: w, height: h });
    const c = canvas.getContext("2d"), image = c.createImageData(w, h), out = new Uint32Array(image.data.buffer), depth = new Float32Array(w * h).fill(-Infinity);
    const pack = ([r, g, b]) => (255 << 24) | (b << 16) | (g << 8) | r;
    out.fill(pack(background()));
    if (view.cloud) {
      const { places, colours, n, middle } = view.cloud, ax = axesOf(view.turn, view.lift);
      const k = pixels(w, h), size = Math.max(1, Math.round(ratio * Math.min(4, (n < FEW ? 2.6 : 1.5) / Math.sqrt(view.far))));
      const [[r0, r1, r2], [u0, u1, u2], [e0, e1, e2]] = [ax.right, ax.up, ax.eye];
      for (let i = 0; i < n; i++) {
        const x = places[3 * i] - middle[0], y = places[3 * i + 1] - middle[1], z = places[3 * i + 2] - middle[2];
        const u = Math.round(w / 2 + k * (r0 * x + r1 * y + r2 * z)), v = Math.round(h / 2 - k * (u0 * x + u1 * y + u2 * z));
        if (u < 0 || v < 0 || u >= w - size || v >= h - size) continue;
        const d = e0 * x + e1 * y + e2 * z, colour = (255 << 24) | (colours[3 * i + 2] << 16) | (colours[3 * i + 1] << 8) | colours[3 * i];
        for (let a = 0; a < size; a++) for (let b = 0; b < size; b++) {
          const at = (v + b) * w + u + a;
          if (d > depth[at]) { depth[at] = d; out[at] = colour; }
        }
      }
      c.putImageData(image, 0, 0);
      if (view.box) {
        const [lo, hi] = view.box, corner = (m) => project([0, 1, 2].map((q) => (m >> q & 1 ? hi[q] : lo[q])), ax, k, w, h);
        c.strokeStyle = "#b3261e";
        c.lineWidth = 1.5 * ratio;
        for (let m = 0; m < 8; m++) for (let q = 0; q < 3; q++) if (!(m >> q & 1)) { c.beginPath(); c.moveTo(...corner(m)); c.lineTo(...corner(m | (1 << q))); c.stroke(); }
      }
    } else c.putImageData(image, 0, 0);
  };
  return view;
}

/** Lets hand and keys turn and zoom a view; what zooms is given back, for buttons. */
function cloudByHand(canvas, view) {
  const zoom = (f) => { view.far = Math.max(0.08, Math.min(3, view.far * f)); view.draw(); };
  const turn = (dx, dy) => { view.turn += dx; view.lift = Math.max(-1.57, Math.min(1.57, view.lift + dy)); view.draw(); };
  turnable(canvas, { turn, zoom });
  canvas.addEventListener("keydown", (e) => {
    const t = { ArrowLeft: [0.12, 0], ArrowRight: [-0.12, 0], ArrowUp: [0, 0.12], ArrowDown: [0, -0.12] }[e.key];
    if (t) turn(...t);
    else if (e.key === "+" || e.key === "=") zoom(0.8);
    else if (e.key === "-") zoom(1.25);
    else return;
    e.preventDefault();
  });
  return zoom;
}

/** The sorted points in a stage of their own, to turn. */
function turnedPoints() {
  const canvas = html("canvas", { tabindex: "0", role: "img", "aria-label": "The scan's points. Arrow keys turn them, plus and minus zoom." });
  const points = cloudView(canvas, () => cssRgb("--well")), zoom = cloudByHand(canvas, points);
  points.cloud = cloudOfKinds(board.points);
  const looks = { Corner: [-0.5, 0.9], "From above": [0, 1.57], Side: [0, 0.02], End: [Math.PI / 2, 0.1] };
  const look = (name) => { [points.turn, points.lift] = looks[name]; points.fit(); points.draw(); };
  let fitted = false;
  const tools = html("div", { class: "choices tools" }, ...Object.keys(looks).map((name) => button(name, () => look(name))), button("+", () => zoom(0.8)), button("−", () => zoom(1.25)));
  // the canvas has no size before it stands on the page
  keep(() => { if (!fitted) points.fit(); fitted = true; points.draw(); });
  return [html("div", { class: "stage" }, canvas, html("canvas", { class: "copy", "aria-hidden": "true" })), hint("Drag to turn, two fingers or + and − to zoom."), tools];
}
