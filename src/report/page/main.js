// Puts the pictures on the page.
board.height = board.layers.find((l) => l.key === "height");
const redraws = [], place = document.getElementById("pictures");
const section = (id, title, ...parts) => place.append(html("section", { id }, html("h2", {}, title), ...parts));
const button = (name, act) => html("button", { type: "button", onclick: act }, name);
const figure = (title, about, from, ...parts) => {
  const small = html("small", {}, about, " ", ...(from ? [html("cite", {}, from)] : []));
  return html("figure", {}, html("figcaption", {}, html("b", {}, title), small), ...parts);
};
/** Draws now and whenever the width, the colours or the paper change. */
const keep = (draw) => { redraws.push(draw); };
let view = null, current = board.layers[0];

function largeView() {
  const canvas = html("canvas", { tabindex: "0", role: "img", "aria-label": "The board. Arrow keys turn it, plus and minus zoom, 0 resets, L takes the next layer." });
  const stage = html("div", { class: "stage" }, canvas, html("canvas", { class: "copy", "aria-hidden": "true" })), readout = html("p", { class: "readout", "aria-live": "polite" });
  const scale = html("div", {}), about = html("p", { class: "about" });
  view = solidView(canvas);
  if (!view) stage.classList.add("flat");
  let frame = null;
  const flat = { contours: true, lines: true, points: false };
  const options = view || flat;
  const draw = () => (view ? view.draw() : (frame = drawPlan(canvas, current, flat)));
  const tags = ["nose", "tail"].map((name) => html("span", { class: "tag" }, name));
  if (view) {
    stage.append(...tags);
    const [x0, x1] = range(mesh.x);
    view.onDraw = () => [x1 + 22, x0 - 22].forEach((x, k) => {
      const [u, v] = view.project([x, 0, valueAt(board.height, x > 0 ? x1 - 5 : x0 + 5, 0) || 0]);
      tags[k].style.left = `${Math.max(4, Math.min(96, 100 * u))}%`;
      tags[k].style.top = `${Math.max(4, Math.min(96, 100 * v))}%`;
    });
  }
  const choose = (layer) => {
    current = layer;
    scale.replaceChildren(scaleBar(layer));
    about.replaceChildren(layer.about, " ", html("cite", {}, layer.from));
    readout.replaceChildren(hint(view ? "Drag to turn, two fingers or + and − to zoom; point at the board for values." : "Point at the board for values."));
    canvas.dataset.layer = layer.key;
    view ? view.setLayer(layer) : draw();
  };
  const radios = board.layers.map((layer, i) => {
    const input = html("input", { type: "radio", name: "layer", value: layer.key, onchange: () => choose(layer) });
    input.checked = i === 0;
    return input;
  });
  const layers = html("fieldset", { class: "choices tools" }, html("legend", {}, "Colour"), ...radios.map((r, i) => html("label", {}, r, board.layers[i].name)));
  const looks = { Corner: [-0.55, 0.75], "From above": [0, Math.PI / 2 - 1e-3], Side: [0, 0.02], End: [Math.PI / 2, 0.12], Beneath: [-0.55, -0.75] };
  const look = (name) => {
    [view.turn, view.lift] = looks[name];
    view.size();
    // a narrow screen holds more of a board that points away
    if (name !== "From above" && canvas.width < canvas.height * 1.3) view.turn = { Side: 0, End: Math.PI / 2 }[name] ?? -1.1;
    if (name === "From above" && canvas.width < canvas.height) view.turn = Math.PI / 2;
    view.fit();
    draw();
  };
  const box = (name, key) => {
    const input = html("input", { type: "checkbox", onchange: () => { options[key] = input.checked; draw(); } });
    input.checked = options[key];
    return html("label", {}, input, name);
  };
  const zoom = (factor) => { view.far = Math.max(0.12, Math.min(3, view.far * factor)); draw(); };
  const tools = html("div", { class: "choices tools" });
  if (view) tools.append(...Object.keys(looks).map((name) => button(name, () => look(name))), button("+", () => zoom(0.8)), button("−", () => zoom(1.25)));
  tools.append(box("contour lines", "contours"), ...(board.points.length ? [box("scan points", "points")] : []), ...(board.lines.length || view ? [box("lines on the board", "lines")] : []));
  const parts = [layers, stage, readout, scale, about, tools];
  if (view) {
    const tall = html("input", { type: "range", min: 1, max: 8, step: 0.5, value: 1, id: "tall" }), shown = html("output", { for: "tall" }, "true");
    tall.addEventListener("input", () => { view.tall = Number(tall.value); shown.textContent = view.tall === 1 ? "true" : `${view.tall} times`; draw(); });
    parts.push(html("div", { class: "field tools" }, html("label", { for: "tall" }, "Heights drawn"), tall, shown));
  }
  const tell = (e) => {
    const b = canvas.getBoundingClientRect(), [u, v] = [(e.clientX - b.left) / b.width, (e.clientY - b.top) / b.height];
    const p = view ? view.pick(u, v) : frame?.from(u * b.width, v * b.height);
    if (!p || !insideOutline(...p)) return;
    readout.textContent = `x ${words(p[0], "mm", 1)}, y ${words(p[1], "mm", 1)}: ${current.name.toLowerCase()} ${words(valueAt(current, ...p), current.unit)}`;
  };
  const fingers = new Map();
  let spread = 0;
  canvas.addEventListener("pointerdown", (e) => { fingers.set(e.pointerId, [e.clientX, e.clientY]); canvas.setPointerCapture(e.pointerId); spread = 0; });
  for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, (e) => { fingers.delete(e.pointerId); spread = 0; });
  canvas.addEventListener("pointermove", (e) => {
    const before = fingers.get(e.pointerId);
    if (!before || !view) return tell(e);
    const [dx, dy] = [e.clientX - before[0], e.clientY - before[1]];
    fingers.set(e.pointerId, [e.clientX, e.clientY]);
    if (fingers.size === 1) {
      view.turn -= dx * 0.008;
      view.lift = Math.max(-1.57, Math.min(1.57, view.lift + dy * 0.008));
      draw();
    } else {
      const [a, b] = [...fingers.values()], now = Math.hypot(a[0] - b[0], a[1] - b[1]);
      if (spread) zoom(spread / now);
      spread = now;
    }
  });
  canvas.addEventListener("wheel", (e) => {
    // the page scrolls unless the view was chosen first
    if (!view || (document.activeElement !== canvas && !e.ctrlKey)) return;
    e.preventDefault();
    zoom(e.deltaY > 0 ? 1.1 : 0.9);
  }, { passive: false });
  canvas.addEventListener("keydown", (e) => {
    const turns = { ArrowLeft: [0.12, 0], ArrowRight: [-0.12, 0], ArrowUp: [0, 0.12], ArrowDown: [0, -0.12] }[e.key];
    if (turns && view) {
      view.turn += turns[0];
      view.lift = Math.max(-1.57, Math.min(1.57, view.lift + turns[1]));
      draw();
    } else if (e.key === "l" || e.key === "L") {
      const next = (board.layers.indexOf(current) + 1) % board.layers.length;
      radios[next].checked = true;
      choose(board.layers[next]);
    } else if (view && (e.key === "+" || e.key === "=")) zoom(0.8);
    else if (view && e.key === "-") zoom(1.25);
    else if (view && e.key === "0") look("Corner");
    else return;
    e.preventDefault();
  });
  section("board", "The board", figure(view ? "Turn it" : "In plan", view ? "It lies upside down, as on the bench: you look at the underside." : "This browser has no WebGL 2, so the board is drawn in plan.", "", ...parts));
  choose(current);
  if (view) look("Corner");
  keep(draw);
}

function maps() {
  const list = html("div", { class: "maps" });
  const aspect = (range(mesh.y)[1] - range(mesh.y)[0]) / (range(mesh.x)[1] - range(mesh.x)[0]);
  for (const layer of board.layers) {
    const canvas = html("canvas", { class: "plan", style: `aspect-ratio:${1 / (aspect + 0.04)}`, role: "img", "aria-label": `${layer.name} in plan` });
    const readout = html("p", { class: "readout" }, hint("Point at the map for values."));
    let frame = null;
    canvas.addEventListener("pointermove", (e) => {
      const b = canvas.getBoundingClientRect(), p = frame.from(e.clientX - b.left, e.clientY - b.top);
      readout.textContent = insideOutline(...p) ? `x ${words(p[0], "mm", 1)}, y ${words(p[1], "mm", 1)}: ${words(valueAt(layer, ...p), layer.unit)}` : " ";
    });
    list.append(figure(layer.name, layer.about, layer.from, canvas, readout, scaleBar(layer)));
    keep(() => { frame = drawPlan(canvas, layer); });
  }
  section("maps", "Maps", html("p", {}, "Nose to the right, seen from the underside. Point at a map for values."), list);
}

function plotFigure(plot) {
  const box = html("div", {});
  keep(() => drawPlot(box, { ...plot, zero: true }));
  return figure(plot.title, plot.about, plot.from, box);
}

function sections() {
  const boxes = [0, 1, 2].map(() => html("div", {}));
  const slider = html("input", { type: "range", min: 0, max: board.stations.length - 1, step: 1, id: "station" });
  const shown = html("output", { for: "station" });
  slider.value = board.stations.length >> 1;
  const draw = () => {
    const s = board.stations[Number(slider.value)], xRange = range(s.y);
    shown.textContent = Math.abs(s.x_mm) < 0.5 ? "middle of the board" : `${words(Math.abs(s.x_mm), "mm", 1)} from the middle towards the ${s.x_mm < 0 ? "tail" : "nose"}`;
    const along = "across the board, mm", height = (y) => {
      const i = Math.max(1, s.y.findIndex((v) => v >= y)), t = (y - s.y[i - 1]) / (s.y[i] - s.y[i - 1] || 1);
      return s.z[i - 1] + t * (s.z[i] - s.z[i - 1]);
    };
    const inside = [...s.point_y.keys()].filter((i) => s.point_y[i] >= xRange[0] && s.point_y[i] <= xRange[1]);
    const pick = (values) => inside.map((i) => values[i]), py = pick(s.point_y), r = pick(s.residual);
    const curve = (name, y) => [{ name, x: s.y, y }];
    drawPlot(boxes[0], { up: "height", unit: "mm", along, xRange, curves: curve("height", s.z), dots: { x: py, y: py.map((y, i) => height(y) + r[i]) } });
    drawPlot(boxes[1], { up: "residual of the scan's points", unit: "mm", along, xRange, height: 150, zero: true, curves: curve("surface", s.y.map(() => 0)), dots: { x: py, y: r } });
    drawPlot(boxes[2], { up: "bend across", unit: "1/m", along, xRange, height: 150, zero: true, curves: curve("curvature", s.bend) });
    view?.setStation(s.x_mm);
  };
  slider.addEventListener("input", draw);
  keep(draw);
  const row = (cells, tag) => html("tr", {}, ...cells.map((c) => html(tag, {}, c)));
  const table = html("table", {}, row(["station, mm", "middle over rails, mm", "residual rms, mm", "points"], "th"),
    ...board.stations.map((s) => row([words(s.x_mm, "", 1), words(s.middle_mm, "", 0.1), s.residual_rms_mm === null ? "none" : words(s.residual_rms_mm, "", 0.01), String(s.count)], "td")));
  section("sections", "Sections", html("div", { class: "field" }, html("label", { for: "station" }, "Station"), slider, shown),
    figure("Section with the scan's points", `Points within ${board.stations[0].half_slice_mm} mm of the station; heights are drawn larger than widths. The white line on the board above shows where.`, "underside.step, sections.svg", ...boxes),
    html("details", {}, html("summary", {}, "All stations as a table"), html("div", { class: "scroll" }, table)));
}

function photo(p) {
  const colours = ["#fff", "#f0e442", "#56b4e9"];
  const lines = p.lines.flatMap((l, k) => {
    const d = "M" + [...l.x].map((x, i) => `${x.toFixed(1)} ${l.y[i].toFixed(1)}`).join("L") + (l.closed ? "Z" : "");
    return [svg("path", { d, stroke: "#000", "stroke-width": 4, opacity: 0.6 }), svg("path", { d, stroke: colours[k % 3], "stroke-width": 2, "stroke-dasharray": k ? "6 4" : "none" })];
  });
  const names = p.lines.map((l) => l.name).join(", ");
  section("photo", "Photo and outline", figure("The photo", p.about, p.from, html("div", { class: "photo" },
    html("img", { src: `data:${p.media_type};base64,${p.bytes}`, width: p.size_px[0], height: p.size_px[1], alt: `The board's photo with ${names || "no line"} over it` }),
    svg("svg", { viewBox: `0 0 ${p.size_px[0]} ${p.size_px[1]}`, "aria-hidden": "true" }, ...lines))));
}

function scanPoints() {
  const [plan, side] = [0, 1].map((k) => html("canvas", { style: "display:block;width:100%", role: "img", "aria-label": `The scan's points from ${k ? "the side" : "above"}` }));
  const note = html("p", { class: "about" });
  const key = html("ul", { class: "key" }, ...board.points.map((p) => {
    const mark = html("canvas", { width: 16, height: 16, "aria-hidden": "true" }), c = mark.getContext("2d");
    c.fillStyle = `rgb(${ROLES[p.role].rgb})`;
    SHAPES[ROLES[p.role].shape](c, 8, 8, 4);
    return html("li", {}, mark, ` ${p.name}: ${p.count} points`);
  }));
  keep(() => {
    drawPoints(plan, false);
    note.textContent = `Above: in plan. Below: from the side, heights drawn ${words(drawPoints(side, true), "", 0.1)} times larger.`;
  });
  section("points", "What was kept of the scan", figure("Kept and taken away", "If part of the board is marked as taken away, or a truck as kept, scan again with more room round the board.", "report.json, frame", plan, side, note, key));
}

if (board.height) { largeView(); maps(); }
if (board.rim) section("rim", "Gap round the rim", plotFigure(board.rim));
if (board.stations.length) sections();
if (board.profiles.length) section("along", "Along the board", ...board.profiles.map(plotFigure));
if (board.photo) photo({ ...board.photo, bytes: page.photo.bytes });
if (board.points.length) scanPoints();
const redraw = () => redraws.forEach((draw) => draw());
redraw();
let width = innerWidth;
addEventListener("resize", () => { if (innerWidth !== width) { width = innerWidth; redraw(); } });
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
// ink on white paper, also from a dark screen
for (const when of ["beforeprint", "afterprint"]) addEventListener(when, () => {
  document.documentElement.classList.toggle("paper", when === "beforeprint");
  redraw();
  // a page is printed with the 3-D canvas as the screen last showed it; a copy in 2-D is printed as it is now
  const solid = document.querySelector(".stage canvas"), copy = document.querySelector(".copy");
  Object.assign(copy, { width: solid.width, height: solid.height });
  copy.getContext("2d").drawImage(solid, 0, 0);
});
document.documentElement.dataset.ready = view ? "solid" : "plan";
