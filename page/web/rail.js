// The photo with the rail found in it: zoom in, drag the rail where it is wrong, and have the rest solved again.
import { bent, lengthsOf, nearest, outwardAt } from "./bend.js";

/** How near a finger must come to the rail, pixels of the screen. */
const GRIP_PX = 26;
/** Steps of the arrow keys: along the rail in points, across it in pixels of the photo. */
const ALONG = 4, ACROSS_PX = 0.5;

/** @param {object} R the report's drawing functions @param {(line: number[][], size: number[]) => void} settled told the dragged rail */
export function railView(R, into, settled) {
  const { html, svg } = R;
  const over = svg("svg", { class: "over", tabindex: "0", role: "application", "aria-label": "The rail over the photo. Drag it where it is wrong. Arrow left and right choose a place on it, up and down move it, Enter has it solved again, plus and minus zoom." });
  const image = svg("image", {}), dark = svg("path", { class: "dark" }), found = svg("path", { class: "found" }), hidden = svg("path", { class: "hidden" }), rim = svg("path", { class: "scan" }), pin = svg("circle", { class: "pin" });
  over.append(image, rim, dark, found, hidden, pin);
  const reach = html("input", { type: "range", min: 1, max: 20, value: 5, id: "reach" });
  const note = html("p", { class: "about", "aria-live": "polite" });
  let photo = null, line = [], hiddenAt = [], box = [0, 0, 1, 1], at = 0, drag = null, touched = false;
  const fingers = new Map();
  const scale = () => box[2] / Math.max(1, over.clientWidth);
  const show = () => {
    over.setAttribute("viewBox", box.join(" "));
    const n = line.length, run = (want) => {
      let d = "";
      for (let i = 0; i < n; i++) if (Boolean(hiddenAt[i]) === want) d += `M${line[i][0].toFixed(1)} ${line[i][1].toFixed(1)}L${line[(i + 1) % n][0].toFixed(1)} ${line[(i + 1) % n][1].toFixed(1)}`;
      return d || "M0 0";
    };
    found.setAttribute("d", run(false));
    hidden.setAttribute("d", run(true));
    dark.setAttribute("d", n ? `M${line.map((p) => p.map((v) => v.toFixed(1)).join(" ")).join("L")}Z` : "M0 0");
    if (n) { pin.setAttribute("cx", line[at][0]); pin.setAttribute("cy", line[at][1]); pin.setAttribute("r", 7 * scale()); }
  };
  const place = (e) => {
    const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(over.getScreenCTM().inverse());
    return [p.x, p.y];
  };
  const clampBox = () => {
    const [W, H] = photo.size_px;
    box[2] = Math.min(W, Math.max(W / 24, box[2]));
    box[3] = (box[2] * over.clientHeight) / Math.max(1, over.clientWidth);
    box[0] = Math.max(0, Math.min(W - box[2], box[0]));
    box[1] = Math.max(Math.min(0, (H - box[3]) / 2), Math.min(Math.max(0, H - box[3]), box[1]));
  };
  const zoom = (factor, about) => {
    const c = about ?? [box[0] + box[2] / 2, box[1] + box[3] / 2], before = box[2];
    box[2] *= factor;
    clampBox();
    const k = box[2] / before;
    [box[0], box[1]] = [c[0] - (c[0] - box[0]) * k, c[1] - (c[1] - box[1]) * k];
    clampBox();
    show();
  };
  const settle = () => { if (touched) { touched = false; settled(line, photo.size_px); } };
  const reachPx = () => (Number(reach.value) / 100) * lengthsOf(line).round;
  over.addEventListener("pointerdown", (e) => {
    if (!photo) return;
    over.setPointerCapture(e.pointerId);
    fingers.set(e.pointerId, [e.clientX, e.clientY]);
    const p = place(e), [i, far] = nearest(line, p);
    if (fingers.size === 1 && far <= GRIP_PX * scale()) { at = i; drag = { from: p, line }; over.classList.add("dragging"); show(); }
    else drag = null;
  });
  over.addEventListener("pointermove", (e) => {
    const before = fingers.get(e.pointerId);
    if (!before) return;
    const others = [...fingers.entries()].filter(([id]) => id !== e.pointerId);
    if (drag) {
      const p = place(e), by = [p[0] - drag.from[0], p[1] - drag.from[1]];
      line = bent(drag.line, at, by, reachPx());
      touched = true;
      note.textContent = `Moved by ${Math.hypot(...by).toFixed(1)} pixels of the picture. Let go to have the board solved again.`;
    } else if (others.length) {
      const other = others[0][1], was = Math.hypot(before[0] - other[0], before[1] - other[1]), now = Math.hypot(e.clientX - other[0], e.clientY - other[1]);
      zoom(was / Math.max(1, now));
    } else {
      const s = scale();
      box[0] -= (e.clientX - before[0]) * s;
      box[1] -= (e.clientY - before[1]) * s;
      clampBox();
    }
    fingers.set(e.pointerId, [e.clientX, e.clientY]);
    show();
  });
  for (const end of ["pointerup", "pointercancel"]) over.addEventListener(end, (e) => {
    fingers.delete(e.pointerId);
    over.classList.remove("dragging");
    if (drag) { drag = null; settle(); }
  });
  over.addEventListener("wheel", (e) => {
    if (document.activeElement !== over && !e.ctrlKey) return;
    e.preventDefault();
    zoom(e.deltaY > 0 ? 1.15 : 0.87, place(e));
  }, { passive: false });
  over.addEventListener("keydown", (e) => {
    const n = line.length;
    if (!n) return;
    const across = { ArrowUp: ACROSS_PX, ArrowDown: -ACROSS_PX }[e.key], along = { ArrowRight: ALONG, ArrowLeft: -ALONG }[e.key];
    if (across) {
      const o = outwardAt(line, at), k = across * (e.shiftKey ? 10 : 1);
      line = bent(line, at, [o[0] * k, o[1] * k], reachPx());
      touched = true;
      note.textContent = "Enter has the board solved again.";
    } else if (along) at = (at + along * (e.shiftKey ? 10 : 1) + 20 * n) % n;
    else if (e.key === "Enter") return settle();
    else if (e.key === "+" || e.key === "=") return zoom(0.8, line[at]);
    else if (e.key === "-") return zoom(1.25);
    else return;
    e.preventDefault();
    show();
  });
  const tool = (name, act) => html("button", { type: "button", onclick: act }, name);
  const tools = html("div", { class: "choices tools" }, tool("nearer", () => zoom(0.6, line[at])), tool("farther", () => zoom(1.6)), tool("whole photo", () => { box = [0, 0, photo.size_px[0], 0]; clampBox(); show(); }),
    html("label", { for: "reach", class: "slide" }, "a drag moves this much of the rail ", reach));
  const key = html("ul", { class: "key" }, ...[["found", "the rail found"], ["hidden", "hidden, bridged: look here first"], ["scan", "the scan's rim"]].map(([c, t]) => html("li", {}, svg("svg", { class: "over", width: 34, height: 12, "aria-hidden": "true" }, svg("path", { class: "dark", d: "M1 6H33" }), svg("path", { class: c, d: "M1 6H33" })), t)));
  into.append(html("div", { class: "photo-frame" }, over), tools, key, note);
  return {
    /** Takes a photo of the page and its rail. */
    set(p, rail, lines) {
      photo = rail;
      line = [...rail.x].map((x, i) => [x, rail.y[i]]);
      hiddenAt = rail.hidden ?? [];
      [touched, at] = [false, Math.min(at, Math.max(0, line.length - 1))];
      const [w, h] = rail.size_px;
      image.setAttribute("href", `data:${p.media_type};base64,${p.bytes}`);
      for (const [k, v] of Object.entries({ width: w, height: h })) image.setAttribute(k, v);
      const r = lines?.find((l) => l.role === "scan_rim");
      rim.setAttribute("d", r ? `M${[...r.x].map((x, i) => `${x.toFixed(1)} ${r.y[i].toFixed(1)}`).join("L")}Z` : "M0 0");
      over.parentElement.style.aspectRatio = `${w} / ${h}`;
      box = [0, 0, w, h];
      note.textContent = line.length ? "" : "No rail was found in this photo.";
      show();
    },
    draw() { if (photo) { clampBox(); show(); } },
  };
}
