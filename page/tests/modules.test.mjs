// node --test page/tests: what the page's own modules compute, without a browser.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";
import { bent, lengthsOf, nearest, outwardAt, railSvg } from "../web/bend.js";
import { boxOf, endMoved, placeText, sideMoved, widthMoved } from "../web/footprint.js";
import { named } from "../web/form.js";
import { fileName, filesAsked, mmOf, sentence, valueOf, withUnit, withValue } from "../web/table.js";

// the report's modules stand in one scope and export nothing
const { axesOf, cloudOf } = new Function(`${readFileSync(new URL("../../src/report/page/cloud.js", import.meta.url), "utf8")}; return { axesOf, cloudOf };`)();

test("a length in any unit is the same length", () => {
  for (const [text, mm] of [["209.5 mm", 209.5], ["8 1/4 in", 209.55], ["20,95 cm", 209.5], ["1/2 in", 12.7], ["-46 mm", -46], ["0.9 m", 900], ['8.25"', 209.55]]) assert.ok(Math.abs(mmOf(text) - mm) < 1e-9, text);
  for (const text of ["", "12", "mm", "12 parsecs", undefined]) assert.ok(Number.isNaN(mmOf(text)), String(text));
});
test("a bare number gets the unit beside it and a unit that is typed stays", () => {
  assert.equal(withUnit(" 226 ", "mm"), "226 mm");
  assert.equal(withUnit("22,6", "cm"), "22.6 cm");
  assert.equal(withUnit("8 1/4", "in"), "8 1/4 in");
  assert.equal(withUnit("8 1/4 in", "mm"), "8 1/4 in");
  assert.equal(withUnit("", "mm"), "");
});
test("an emptied field leaves no empty table behind and what the page does not know stays", () => {
  const table = { tape: { width: "21 cm" }, gasket: { grade: "2C1" }, part: [{ name: "a" }, { name: "b" }] };
  assert.deepEqual(withValue(table, "tape.width", ""), { gasket: { grade: "2C1" }, part: [{ name: "a" }, { name: "b" }] });
  assert.deepEqual(withValue(table, "part.0", undefined).part, [{ name: "b" }]);
  assert.equal(valueOf(withValue(table, "part.1.height", "9 mm"), "part.1.height"), "9 mm");
  assert.equal(valueOf(table, "rider.sag"), undefined);
  assert.equal(table.tape.width, "21 cm", "the table given is not changed");
});
test("every file that a board file names is asked for", () => {
  const table = { scan: { files: ["a.ply", "in/b.ply"] }, photo: [{ file: "p.jpg", path: "r.svg" }, { file: "q.jpg", mask: "m.png" }], enclosure: { footprint: "f.svg" } };
  assert.deepEqual(filesAsked(table), ["a.ply", "in/b.ply", "p.jpg", "r.svg", "q.jpg", "m.png", "f.svg"]);
  assert.equal(fileName("in\\deep/b.ply"), "b.ply");
});
test("a message reads as a sentence", () => assert.equal(sentence("the scan is empty"), "The scan is empty."));
test("a dragged end moves and the other end stays", () => {
  const ends = ({ length, offset }) => [mmOf(offset) - mmOf(length) / 2, mmOf(offset) + mmOf(length) / 2];
  assert.deepEqual(ends(endMoved(340, 10, "nose", 200)), [-160, 200]);
  assert.deepEqual(ends(endMoved(340, 10, "tail", -120)), [-120, 180]);
  // past the other end it stops
  assert.deepEqual(ends(endMoved(340, 0, "nose", -500)), [-170, -150]);
});
test("a side that is drawn outwards comes nearer to the rail, at most to it", () => {
  assert.deepEqual(sideMoved(16, 4), { inset: "12 mm" });
  assert.deepEqual(sideMoved(16, 40), { inset: "0 mm" });
  assert.deepEqual(widthMoved(150, 5), { width: "160 mm" });
  assert.deepEqual(placeText(-46.4, 0.2), ["-46 mm", "0 mm"]);
  assert.deepEqual(boxOf({ x: [1, -2, 3], y: [0, 5, -4] }), { x0: -2, x1: 3, y0: -4, y1: 5 });
});
const square = Array.from({ length: 40 }, (_, i) => { const s = Math.floor(i / 10), t = i % 10; return [[t, 0], [10, t], [10 - t, 10], [0, 10 - t]][s]; });
test("a drag of the rail fades out within its reach and leaves the rest as it was", () => {
  const moved = bent(square, 5, [0, -2], 4);
  assert.deepEqual(moved[5], [5, -2]);
  assert.ok(moved[6][1] < -1 && moved[6][1] > -2 && moved[8][1] > moved[6][1]);
  moved.forEach((p, i) => { if (Math.abs(i - 5) >= 4) assert.deepEqual(p, square[i]); });
  // also over the line's seam
  assert.ok(bent(square, 0, [-1, -1], 4)[39][0] < 0);
  assert.equal(lengthsOf(square).round, 40);
});
test("the place on the rail under a finger, which way is out, and the path that is written", () => {
  assert.deepEqual(nearest(square, [5.2, -3]), [5, Math.hypot(0.2, 3)]);
  const [x, y] = outwardAt(square, 5);
  assert.ok(Math.abs(x) < 1e-12 && y === -1);
  assert.deepEqual(outwardAt([...square].reverse(), 34).map((v) => Math.round(v) + 0), [0, -1]);
  assert.match(railSvg(square, [640, 480]), /viewBox="0 0 640 480"><path d="M0\.00 0\.00L1\.00 0\.00.*Z"/);
});
test("a stray far off does not make the board a speck", () => {
  const places = new Float32Array(3000);
  for (let i = 0; i < 1000; i++) places.set([i / 10, (i % 7) / 3, 0], 3 * i);
  places.set([1e5, 0, 0], 3 * 500);
  assert.ok(cloudOf(places, new Uint8Array(3000)).extent < 120);
  const { eye, right, up } = axesOf(0.3, 0.8), dot = (a, b) => a.reduce((s, v, k) => s + v * b[k], 0);
  for (const [a, b] of [[eye, right], [eye, up], [right, up]]) assert.ok(Math.abs(dot(a, b)) < 1e-12);
});
test("a hint names a field as the page does and leaves other words alone", () => {
  assert.equal(named("Shorten enclosure.length or bring deck.step nearer."), "Shorten “Length along the board” or bring deck.step nearer.");
  assert.equal(named("Enclosure.gasket is 40 mm."), "“Gasket, free” is 40 mm.");
});
