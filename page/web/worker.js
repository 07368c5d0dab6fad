// The engine in its worker: one question after the other. After a trap it says its last words and answers no more.
let engine = null;
const text = new TextDecoder(), coder = new TextEncoder();
const bytesAt = (address, length) => new Uint8Array(engine.memory.buffer, address, length);

function asked(question, file) {
  const json = coder.encode(JSON.stringify(question)), length = 4 + json.length + (file?.byteLength ?? 0);
  const address = engine.room(length) >>> 0;
  if (!address) return { error: { message: `there is no room for ${(length / 1e6).toFixed(0)} MB more in this tab`, hint: "thin the scan, close other tabs, or use the command line" } };
  const room = bytesAt(address, length);
  new DataView(room.buffer, address, 4).setUint32(0, json.length, true);
  room.set(json, 4);
  if (file) room.set(new Uint8Array(file), 4 + json.length);
  const size = engine.ask() >>> 0, answer = bytesAt(engine.answer() >>> 0, size).slice();
  const told = new DataView(answer.buffer).getUint32(0, true);
  return { ...JSON.parse(text.decode(answer.subarray(4, 4 + told))), bytes: answer.subarray(4 + told) };
}
addEventListener("message", async ({ data }) => {
  if (data.module) {
    // what the engine would import of a browser is not there to be called
    const none = new Proxy({}, { get: (_, name) => () => { throw new Error(`the engine called ${String(name)}`); } });
    engine = (await WebAssembly.instantiate(data.module, new Proxy({}, { get: () => none }))).exports;
    return;
  }
  const begun = performance.now();
  try {
    const answer = asked(data.question, data.file);
    postMessage({ id: data.id, ...answer, ms: performance.now() - begun });
  } catch (trap) {
    let words = "";
    try { words = text.decode(bytesAt(engine.last_words() >>> 0, engine.last_words_length() >>> 0)); } catch { /* the trap's own words are told */ }
    postMessage({ id: data.id, dead: words || String(trap) });
  }
});
