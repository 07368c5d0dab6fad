// node page/measure.mjs ENGINE.wasm [FOLDER_WITH_BOARD_TOML]: processor time of the engine by itself, on one thread, which neighbours on the
// same machine lengthen less than they do wall time. Without a folder: the demo board.
import { readFile } from "node:fs/promises";
import path from "node:path";

const [wasm, folder] = process.argv.slice(2), none = new Proxy({}, { get: () => () => 0 });
const { exports: engine } = await WebAssembly.instantiate(await WebAssembly.compile(await readFile(wasm)), new Proxy({}, { get: () => none }));
function ask(question, file = new Uint8Array()) {
  const json = new TextEncoder().encode(JSON.stringify(question)), at = engine.room(4 + json.length + file.length) >>> 0;
  const room = new Uint8Array(engine.memory.buffer, at, 4 + json.length + file.length);
  new DataView(room.buffer, at, 4).setUint32(0, json.length, true);
  room.set(json, 4);
  room.set(file, 4 + json.length);
  const size = engine.ask() >>> 0, answer = new Uint8Array(engine.memory.buffer, engine.answer() >>> 0, size).slice(), told = new DataView(answer.buffer).getUint32(0, true);
  const { ok, error } = JSON.parse(new TextDecoder().decode(answer.subarray(4, 4 + told)));
  if (error) throw new Error(error.message);
  return { ok, bytes: answer.slice(4 + told) };
}
function timed(name, question) {
  const before = process.cpuUsage();
  const { ok } = ask(question);
  const { user, system } = process.cpuUsage(before);
  console.log(`${name.padEnd(28)} ${((user + system) / 1e6).toFixed(2)} s`);
  return ok;
}
let board;
if (folder) {
  board = ask({ ask: "parse", text: await readFile(path.join(folder, "board.toml"), "utf8") }).ok;
  for (const name of [board.scan.file, ...[board.photo ?? []].flat().map((p) => p.file)].filter(Boolean)) ask({ ask: "put", name }, await readFile(path.join(folder, name)));
} else {
  const demo = ask({ ask: "demo" }).ok;
  board = demo.board;
  for (const name of demo.files) ask({ ask: "put", name }, ask({ ask: "take", name }).bytes);
}
timed("scan isolated, surface", { ask: "survey", board });
timed("outline and deck", { ask: "deck", board });
if (board.enclosure) {
  timed("enclosure and its gaps", { ask: "house", board });
  timed("its rim alone, under a drag", { ask: "house", board, rim_only: true });
}
timed("every file", { ask: "files", board });
console.log(`memory ${(engine.memory.buffer.byteLength / 1e6).toFixed(0)} MB`);
