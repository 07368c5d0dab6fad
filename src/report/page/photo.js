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
function photo(p, bytes, many) {
  const groups = p.lines.map(photoLine);
  const key = p.lines.map((line, k) => {
    const input = html("input", { type: "checkbox", onchange: () => { groups[k].style.display = input.checked ? "" : "none"; } });
    input.checked = true;
    const sample = svg("svg", { width: 34, height: 12, "aria-hidden": "true" }, svg("path", { d: "M1 6H33", stroke: "#000", "stroke-width": 5 }), svg("path", { d: "M1 6H33", ...LOOKS[line.role] }));
    return html("label", {}, input, sample, line.name);
  });
  const names = p.lines.map((l) => l.name).join(", ") || "no line";
  return figure(many ? `Photo ${many}` : "The photo", p.about, p.from,
    html("div", { class: "photo" },
      html("img", { src: `data:${p.media_type};base64,${bytes}`, width: p.size_px[0], height: p.size_px[1], alt: `The board's photo, over it: ${names}` }),
      svg("svg", { viewBox: `0 0 ${p.size_px[0]} ${p.size_px[1]}`, "aria-hidden": "true" }, ...groups)),
    html("div", { class: "choices lines" }, ...key));
}
function photos() {
  const list = board.photos.map((p, i) => photo(p, page.photos[i].bytes, board.photos.length > 1 ? i + 1 : 0));
  section("photo", "Photo and outline", ...list, ...board.rail.map(plotFigure));
}
