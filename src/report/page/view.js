// The large view: turn, zoom, choose what is shown, read values.
/** Turns by a drag, zooms by two fingers or the wheel, points without a button: what `acts` has of `turn`, `zoom` and `point`. */
function turnable(canvas, acts) {
  const fingers = new Map();
  let spread = 0;
  canvas.addEventListener("pointerdown", (e) => { fingers.set(e.pointerId, [e.clientX, e.clientY]); canvas.setPointerCapture(e.pointerId); spread = 0; });
  for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, (e) => { fingers.delete(e.pointerId); spread = 0; });
  canvas.addEventListener("pointermove", (e) => {
    const before = fingers.get(e.pointerId);
    if (!before || !acts.turn) return acts.point?.(e);
    const [dx, dy] = [e.clientX - before[0], e.clientY - before[1]];
    fingers.set(e.pointerId, [e.clientX, e.clientY]);
    if (fingers.size === 1) acts.turn(-dx * 0.008, dy * 0.008);
    else {
      const [a, b] = [...fingers.values()], now = Math.hypot(a[0] - b[0], a[1] - b[1]);
      if (spread) acts.zoom(spread / now);
      spread = now;
    }
  });
  canvas.addEventListener("wheel", (e) => {
    // the page scrolls unless the view was chosen first
    if (!acts.zoom || (document.activeElement !== canvas && !e.ctrlKey)) return;
    e.preventDefault();
    acts.zoom(e.deltaY > 0 ? 1.1 : 0.9);
  }, { passive: false });
}
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
  if (view && board.body) view.setHousing(facets(board.body));
  tools.append(...(view && board.body ? [box("enclosure", "housing")] : []), box("contour lines", "contours"), ...(board.points.length ? [box("scan points", "points")] : []), ...(board.lines.length || view ? [box("lines on the board", "lines")] : []));
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
    readout.textContent = `x ${words(p[0], "mm", 1)}, y ${words(p[1], "mm", 1)}: ${current.name.toLowerCase()} ${valueWords(current, valueAt(current, ...p))}`;
  };
  const turn = (dx, dy) => {
    view.turn += dx;
    view.lift = Math.max(-1.57, Math.min(1.57, view.lift + dy));
    draw();
  };
  turnable(canvas, view ? { turn, zoom, point: tell } : { point: tell });
  canvas.addEventListener("keydown", (e) => {
    const turns = { ArrowLeft: [0.12, 0], ArrowRight: [-0.12, 0], ArrowUp: [0, 0.12], ArrowDown: [0, -0.12] }[e.key];
    if (turns && view) turn(...turns);
    else if (e.key === "l" || e.key === "L") {
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
