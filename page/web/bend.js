// A closed line in a photo that is dragged at one place: its neighbours follow less and less.

/** Lengths along the closed line from its first point to each, and round it. @param {number[][]} line */
export function lengthsOf(line) {
  const at = [0];
  for (let i = 1; i <= line.length; i++) at.push(at[i - 1] + Math.hypot(...[0, 1].map((k) => line[i % line.length][k] - line[i - 1][k])));
  return { at, round: at[line.length] };
}
/** The line with the point `i` moved by `by`, and with it all within `reach` along the line, by a raised cosine. */
export function bent(line, i, by, reach) {
  const { at, round } = lengthsOf(line);
  return line.map((p, k) => {
    const d = Math.abs(at[k] - at[i]), far = Math.min(d, round - d);
    if (far >= reach) return p;
    const w = (1 + Math.cos((Math.PI * far) / reach)) / 2;
    return [p[0] + w * by[0], p[1] + w * by[1]];
  });
}
/** Number of the line's point nearest to a place, and its distance. */
export function nearest(line, place) {
  let best = [0, Infinity];
  line.forEach((p, i) => {
    const d = Math.hypot(p[0] - place[0], p[1] - place[1]);
    if (d < best[1]) best = [i, d];
  });
  return best;
}
/** Unit vector out of the closed line at a point. */
export function outwardAt(line, i) {
  const n = line.length, [a, b] = [line[(i + n - 1) % n], line[(i + 1) % n]];
  const area = line.reduce((s, p, k) => s + p[0] * line[(k + 1) % n][1] - p[1] * line[(k + 1) % n][0], 0);
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]], l = Math.hypot(dx, dy) || 1, sign = area > 0 ? 1 : -1;
  return [(sign * dy) / l, (-sign * dx) / l];
}
/** The line as an SVG of the picture's size, which the board file takes as the rail. */
export function railSvg(line, [w, h]) {
  const d = line.map((p) => `${p[0].toFixed(2)} ${p[1].toFixed(2)}`).join("L");
  return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${w} ${h}"><path d="M${d}Z"/></svg>\n`;
}
