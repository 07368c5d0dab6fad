// The photos with what was found in them, as lines that can be taken off to look at the rail beneath.
const LOOKS = {
  found: { stroke: "#ffe14d", "stroke-width": 2.5 },
  bridged: { stroke: "#ff7ac8", "stroke-width": 2.5, "stroke-dasharray": "7 5" },
  scan_rim: { stroke: "#6cc9ff", "stroke-width": 1.6, "stroke-dasharray": "1.5 3.5", "stroke-linecap": "round" },
  holes: { stroke: "#fff", "stroke-width": 2 },
};
function photoLine(line) {
  const d = runs([...line.x]).map((run) => "M" + run.map((i) => `${line.x[i].toFixed(1)} ${line.y[i].toFixed(1)}`).join("L")).join("") + (line.closed ? "Z" : "");
  return svg("g", {}, svg("path", { d, stroke: "#000", "stroke-width": 4.5, opacity: 0.55 }), svg("path", { d, ...LOOKS[line.role] }));
}
// The part of a photo that its lines take up, with some of the floor: a phone shows the board twice as large so.
const FLOOR = 0.05;
function boardBox(p) {
  const [x, y] = ["x", "y"].map((k, axis) => {
    const v = p.lines.flatMap((line) => [...line[k]]).filter(Number.isFinite);
    return v.length ? [Math.min(...v), Math.max(...v)] : [0, p.size_px[axis]];
  });
  const margin = FLOOR * Math.max(x[1] - x[0], y[1] - y[0]);
  const [lo, hi] = [0, 1].map((end) => [x, y].map((v, axis) => Math.min(Math.max(v[end] + (end ? margin : -margin), 0), p.size_px[axis])));
  return { lo, size: [hi[0] - lo[0], hi[1] - lo[1]] };
}
function photo(p, bytes, many) {
  const groups = p.lines.map(photoLine);
  const key = p.lines.map((line, k) => {
    const input = html("input", { type: "checkbox", onchange: () => { groups[k].style.display = input.checked ? "" : "none"; } });
    input.checked = true;
    const sample = svg("svg", { width: 34, height: 12, "aria-hidden": "true" }, svg("path", { d: "M1 6H33", stroke: "#000", "stroke-width": 5 }), svg("path", { d: "M1 6H33", ...LOOKS[line.role] }));
    return html("label", {}, input, sample, line.name);
  });
  const names = p.lines.map((l) => l.name).join(", ") || "no line";
  const image = html("img", { src: `data:${p.media_type};base64,${bytes}`, width: p.size_px[0], height: p.size_px[1], alt: `The board's photo, over it: ${names}` });
  const over = svg("svg", { "aria-hidden": "true" }, ...groups);
  const frame = html("div", { class: "photo" }, image, over);
  const show = ({ lo, size }) => {
    over.setAttribute("viewBox", [...lo, ...size].join(" "));
    frame.style.aspectRatio = `${size[0]} / ${size[1]}`;
    image.style.width = `${100 * p.size_px[0] / size[0]}%`;
    [image.style.left, image.style.top] = lo.map((v, axis) => `${-100 * v / size[axis]}%`);
  };
  const whole = html("input", { type: "checkbox", onchange: () => show(whole.checked ? { lo: [0, 0], size: p.size_px } : boardBox(p)) });
  show(boardBox(p));
  return figure(many ? `Photo ${many}` : "The photo", p.about, p.from, frame,
    html("div", { class: "choices lines" }, ...key),
    html("div", { class: "choices tools" }, html("label", {}, whole, "the whole photo")));
}
function photos() {
  const list = board.photos.map((p, i) => photo(p, page.photos[i].bytes, board.photos.length > 1 ? i + 1 : 0));
  section("photo", "Photo and outline", ...list, ...board.rail.map(plotFigure));
}
