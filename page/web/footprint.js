// What a drag on the plan means for the board file, and where a footprint's handles are.
import { lengthText } from "./table.js";

/** Least length that a drag leaves, mm: the board file takes none below. */
const LEAST_MM = 20;

/** Box of a closed line { x, y }, mm. */
export function boxOf(line) {
  const ends = (v) => v.reduce(([a, b], w) => [Math.min(a, w), Math.max(b, w)], [Infinity, -Infinity]);
  const [x0, x1] = ends([...line.x]), [y0, y1] = ends([...line.y]);
  return { x0, x1, y0, y1 };
}
/** Keys of [enclosure] after an end was dragged to `x`: the other end stays. @param {"nose"|"tail"} end */
export function endMoved(length, offset, end, x) {
  const [tail, nose] = [offset - length / 2, offset + length / 2];
  const [a, b] = end === "nose" ? [tail, Math.max(x, tail + LEAST_MM)] : [Math.min(x, nose - LEAST_MM), nose];
  return { length: lengthText(Math.round(b - a)), offset: lengthText(Math.round(a + b) / 2) };
}
/** Inset after a side was moved outwards by `by` mm. */
export const sideMoved = (inset, by) => ({ inset: lengthText(Math.max(0, Math.round(inset - by))) });
/** Width of a rectangle after a side was moved outwards by `by` mm. */
export const widthMoved = (width, by) => ({ width: lengthText(Math.max(LEAST_MM, Math.round(width + 2 * by))) });
/** A place as the board file writes it. */
export const placeText = (x, y) => [lengthText(Math.round(x)), lengthText(Math.round(y))];
