// The enclosure in plan on the board: ends, sides, parts and openings are dragged, by finger, mouse or arrow keys.
import { boxOf, endMoved, placeText, sideMoved, widthMoved } from "./footprint.js";
import { lengthText, mmOf, valueOf, withValue } from "./table.js";

const FINE_MM = 1, COARSE_MM = 10;

/** @param {object} R the report's drawing functions @param {SVGElement} svg @param {{change: (table: object, live: boolean) => void}} state */
export function planView(R, svg, state) {
  const make = R.svg, d = (line, closed = true) => "M" + [...line.x].map((x, i) => `${x.toFixed(1)} ${(-line.y[i]).toFixed(1)}`).join("L") + (closed ? "Z" : "");
  let deck = null, made = null, ghost = null, drag = null, upright = false;

  const place = (e) => {
    const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(content.getScreenCTM().inverse());
    return [p.x, -p.y];
  };
  const content = make("g", {});
  svg.append(content);
  svg.addEventListener("pointermove", (e) => { if (drag) { const p = place(e); drag.move(p[0] - drag.from[0], p[1] - drag.from[1], true); } });
  for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, () => { if (drag) { drag = null; svg.classList.remove("dragging"); state.change(state.table, false, true); } });

  /** Lets an element be dragged: `move(dx, dy, live)` is told how far from where it was taken. */
  const draggable = (element, name, begin) => {
    element.setAttribute("tabindex", "0");
    element.setAttribute("role", "button");
    element.setAttribute("aria-label", `${name}: arrow keys move it, with Shift by ${COARSE_MM} mm`);
    element.dataset.handle = name;
    element.addEventListener("pointerdown", (e) => {
      e.preventDefault();
      svg.setPointerCapture(e.pointerId);
      svg.classList.add("dragging");
      element.focus({ preventScroll: true });
      drag = { from: place(e), move: begin() };
    });
    element.addEventListener("keydown", (e) => {
      const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[e.key];
      if (!step) return;
      e.preventDefault();
      // on an upright plan the nose is up
      const [sx, sy] = upright ? [step[1], -step[0]] : step, k = e.shiftKey ? COARSE_MM : FINE_MM;
      begin()(sx * k, sy * k, false);
    });
    return element;
  };
  const set = (keys, live) => state.change(Object.entries(keys).reduce((t, [k, v]) => withValue(t, k, v), state.table), live);
  const enclosure = (keys, live) => set(Object.fromEntries(Object.entries(keys).map(([k, v]) => [`enclosure.${k}`, v])), live);
  const mm = (key, or) => { const v = mmOf(valueOf(state.table, key)); return Number.isFinite(v) ? v : or; };

  const handle = (x, y, name, across, begin) => draggable(make("g", { class: `handle ${across ? "across" : "along"}`, transform: `translate(${x} ${-y})` },
    make("circle", { class: "reach", r: 26 }), make("rect", across ? { x: -16, y: -4, width: 32, height: 8, rx: 4 } : { x: -4, y: -16, width: 8, height: 32, rx: 4 })), name, begin);

  function parts() {
    return (state.table.part ?? []).flatMap((p, i) => {
      const found = made?.body?.parts?.find((q) => q.name === p.name), typed = Array.isArray(p.at) ? p.at.map(mmOf) : null;
      // under the finger the typed place is the newer one
      const at = (made?.waiting && typed) || found?.at_mm || typed || [0, 0];
      const size = found?.size_mm ?? [mmOf(p.length), mmOf(p.width)];
      if (![...at, size[0], size[1]].every(Number.isFinite)) return [];
      const room = Number.isFinite(mmOf(p.clearance)) ? mmOf(p.clearance) : 3, bad = found && !found.fits;
      const box = (grow, cls) => make("rect", { class: cls, x: at[0] - size[0] / 2 - grow, y: -at[1] - size[1] / 2 - grow, width: size[0] + 2 * grow, height: size[1] + 2 * grow, rx: 2 });
      const label = make("text", { x: at[0], y: -at[1] + 4, transform: upright ? `rotate(90 ${at[0]} ${-at[1]})` : "" }, p.name ?? "part");
      return [draggable(make("g", { class: bad ? "part bad" : "part" }, box(room, "room"), box(0, "box"), label), `part ${p.name ?? i + 1}`,
        () => (dx, dy, live) => set({ [`part.${i}.at`]: placeText(at[0] + dx, at[1] + dy) }, live))];
    });
  }
  function openings() {
    return (state.table.opening ?? []).flatMap((o, i) => {
      const at = (o.at ?? []).map(mmOf);
      if (at.length !== 2 || !at.every(Number.isFinite)) return [];
      const r = Math.max(6, (mmOf(o.diameter) || mmOf(o.width) || 12) / 2);
      return [draggable(make("g", { class: "opening" }, make("circle", { class: "reach", cx: at[0], cy: -at[1], r: 20 }), make("circle", { cx: at[0], cy: -at[1], r })), `opening ${o.name ?? i + 1}`,
        () => (dx, dy, live) => set({ [`opening.${i}.at`]: placeText(at[0] + dx, at[1] + dy) }, live))];
    });
  }
  function handles() {
    const rim = made?.rim ?? ghost;
    if (!rim || state.table.enclosure?.footprint) return [];
    const box = boxOf(rim.outer), length = mm("enclosure.length", box.x1 - box.x0), offset = mm("enclosure.offset", 0);
    const middle = (box.x0 + box.x1) / 2;
    const end = (name) => () => (dx, dy, live) => enclosure(endMoved(length, offset, name, (name === "nose" ? offset + length / 2 : offset - length / 2) + dx), live);
    const wide = valueOf(state.table, "enclosure.width");
    const side = (sign) => () => (dx, dy, live) => enclosure(wide ? widthMoved(mmOf(wide), sign * dy) : sideMoved(mm("enclosure.inset", 14), sign * dy), live);
    return [handle(box.x1, 0, "nose end", false, end("nose")), handle(box.x0, 0, "tail end", false, end("tail")),
      handle(middle, box.y1, "left side", true, side(1)), handle(middle, box.y0, "right side", true, side(-1)),
      draggable(make("g", { class: "handle whole", transform: `translate(${middle} ${-box.y0 - 34})` }, make("circle", { class: "reach", r: 22 }), make("path", { d: "M-14 0H14M-14 0l6 -5M-14 0l6 5M14 0l-6 -5M14 0l-6 5" })), "whole enclosure",
        () => (dx, dy, live) => enclosure({ offset: lengthText(Math.round(offset + dx)) }, live))];
  }
  function gaps() {
    const s = made?.seal;
    if (!s?.gap) return [];
    const zones = made.gap?.zones ?? [], out = [];
    for (let i = 0; i < s.gap.length; i++) {
      if (!Number.isFinite(s.gap[i])) continue;
      const zone = zones.find((z) => s.gap[i] >= (z.above ?? -Infinity) && s.gap[i] < (z.below ?? Infinity))?.name ?? "none";
      out.push(make("circle", { class: `gap ${zone}`, cx: s.x[i].toFixed(1), cy: (-s.y[i]).toFixed(1), r: 2.6 }));
    }
    return out;
  }
  const view = {
    /** Takes the deck's outline { x, y }. */
    setDeck(outline) { deck = outline; ghost = null; view.draw(); },
    /** Takes what the engine made of the enclosure. */
    setMade(m) { made = m; ghost = m?.rim ?? ghost; view.draw(); },
    draw() {
      if (!deck) return;
      const b = boxOf(deck), pad = 14;
      upright = svg.parentElement.clientWidth < 620;
      const [w, h] = [b.x1 - b.x0 + 2 * pad, b.y1 - b.y0 + 2 * pad];
      svg.setAttribute("viewBox", upright ? `0 0 ${h} ${w}` : `0 0 ${w} ${h}`);
      content.setAttribute("transform", upright ? `translate(${h / 2} ${w / 2}) rotate(-90) translate(${-(b.x0 + b.x1) / 2} ${(b.y0 + b.y1) / 2})` : `translate(${pad - b.x0} ${pad + b.y1})`);
      svg.style.aspectRatio = upright ? `${h} / ${w}` : `${w} / ${h}`;
      const rim = made?.rim, body = made?.body;
      const focus = document.activeElement?.dataset?.handle;
      content.replaceChildren(
        make("path", { class: "board", d: d(deck) }),
        make("path", { class: "centre", d: `M${b.x0} 0H${b.x1}` }),
        ...(rim ? [make("path", { class: "rim", d: d(rim.outer) + d(rim.inner), "fill-rule": "evenodd" })] : ghost ? [make("path", { class: "rim ghost", d: d(ghost.outer) })] : []),
        ...(body && !made.waiting ? [make("path", { class: "wall", d: d(body.wall) })] : []),
        ...gaps(),
        ...(body?.openings ?? []).map((o) => make("path", { class: "cut", d: d(o) })),
        ...(made?.waiting ? [] : body?.screws ?? []).map((s) => make("circle", { class: "screw", cx: s.at_mm[0], cy: -s.at_mm[1], r: s.hole_mm / 2 + 1 })),
        ...parts(), ...openings(), ...handles(),
        ...[["nose", b.x1 - 26], ["tail", b.x0 + 26]].map(([t, x]) => make("text", { class: "end", x, y: 4, transform: upright ? `rotate(90 ${x} 0)` : "" }, t)));
      if (focus) content.querySelector(`[data-handle="${CSS.escape(focus)}"]`)?.focus({ preventScroll: true });
    },
  };
  return view;
}
