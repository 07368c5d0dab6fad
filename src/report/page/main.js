// Puts the pictures on the page.
/** Step of the arrow keys on a map, mm: finer than a hand's mark on the board. */
const STEP_MM = 5;
function maps() {
  const list = html("div", { class: "maps" });
  const aspect = (range(mesh.y)[1] - range(mesh.y)[0]) / (range(mesh.x)[1] - range(mesh.x)[0]);
  for (const layer of board.layers) {
    const canvas = html("canvas", { class: "plan", tabindex: "0", style: `aspect-ratio:${1 / (aspect + 0.04)}`, role: "img", "aria-label": `${layer.name} in plan. Arrow keys move the place that is read.` });
    const readout = html("p", { class: "readout", "aria-live": "polite" }, " ");
    const cross = html("span", { class: "cross", "aria-hidden": "true" });
    let frame = null, at = [0, 0];
    const tell = (p) => {
      const inside = insideOutline(...p), [u, v] = frame.to(...p);
      cross.style.cssText = inside ? `display:block;left:${u}px;top:${v}px` : "";
      readout.textContent = inside ? `x ${words(p[0], "mm", 1)}, y ${words(p[1], "mm", 1)}: ${valueWords(layer, valueAt(layer, ...p))}` : " ";
    };
    for (const when of ["pointerdown", "pointermove"]) canvas.addEventListener(when, (e) => {
      const b = canvas.getBoundingClientRect();
      tell(at = frame.from(e.clientX - b.left, e.clientY - b.top));
    });
    canvas.addEventListener("keydown", (e) => {
      const step = { ArrowLeft: [-STEP_MM, 0], ArrowRight: [STEP_MM, 0], ArrowUp: [0, STEP_MM], ArrowDown: [0, -STEP_MM] }[e.key];
      if (!step) return;
      const next = [at[0] + step[0], at[1] + step[1]];
      tell(at = insideOutline(...next) ? next : at);
      e.preventDefault();
    });
    list.append(figure(layer.name, layer.about, layer.from, html("div", { class: "map" }, canvas, cross), readout, scaleBar(layer)));
    keep(() => { cross.style.cssText = ""; frame = drawPlan(canvas, layer); });
  }
  section("maps", "Maps", html("p", {}, "Nose to the right, seen from the underside. Point at or tap any map or curve on this page for values; with the keyboard, Tab to it and use the arrow keys."), list);
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
  const fit = html("p", { class: "fit", "aria-live": "polite" });
  const draw = () => {
    const s = board.stations[Number(slider.value)], xRange = range(s.y);
    shown.textContent = Math.abs(s.x_mm) < 0.5 ? "middle of the board" : `${words(Math.abs(s.x_mm), "mm", 1)} from the middle towards the ${s.x_mm < 0 ? "tail" : "nose"}`;
    fit.textContent = s.count ? `${s.count} points of the scan within ${words(s.half_slice_mm, "mm", 1)}, residual ${words(s.residual_rms_mm, "mm", 0.01)} rms; middle ${words(s.middle_mm, "mm", 0.1)} over the rails` : "No point of the scan lies near this station: the surface is carried over from its neighbours.";
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
  section("sections", "Sections", html("div", { class: "field" }, html("label", { for: "station" }, "Station"), slider, shown), fit,
    figure("Section with the scan's points", `Points within ${board.stations[0].half_slice_mm} mm of the station; heights are drawn larger than widths. The white line on the board above shows where.`, "underside.step, sections.svg", ...boxes),
    html("details", {}, html("summary", {}, "All stations as a table"), html("div", { class: "scroll" }, table)));
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
    const tall = drawPoints(side, true);
    note.textContent = `From above, and from the side${tall > 1.05 ? ` with heights drawn ${words(tall, "", 0.1)} times as large as lengths` : ""}. Strays beyond the picture are left off.`;
  });
  if (board.refusal) section("points", "What the scan was taken for", figure("From above and from the side", `Some of the points that were looked at; places in ${board.refusal.unit}.`, "", key, plan, side, note), figure("Turn it", "", "", ...turnedPoints()));
  else section("points", "What was kept of the scan", figure("Kept and taken away", "If part of the board is marked as taken away, or a truck as kept, scan again with more room round the board.", "report.json, frame", plan, side, note, key));
}

/** Every picture of the open data into `into`. */
function pictures(into) {
  [redraws, place, view, current] = [[], into, null, board.layers[0]];
  if (board.height) { largeView(); maps(); }
  if (board.rim) section("rim", "Gap round the rim", plotFigure(board.rim));
  if (board.stations.length) sections();
  if (board.profiles.length) section("along", "Along the board", ...board.profiles.map(plotFigure));
  if (board.photos.length || board.rail.length) photos();
  if (board.points.length) scanPoints();
  redraw();
}
const redraw = () => redraws.forEach((draw) => draw());
let width = innerWidth;
addEventListener("resize", () => { if (innerWidth !== width) { width = innerWidth; redraw(); } });
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
