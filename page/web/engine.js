// The page's side of the engine: questions in order, files put once, and a fresh worker after a trap.
import { sentence } from "./table.js";

/** A refusal of the engine: one sentence and the next step. */
export class Refusal extends Error {
  constructor({ message, hint, stage, seen }) {
    super(sentence(message));
    this.hint = hint ? sentence(hint) : "";
    this.stage = stage ?? "";
    /** What a refused scan was taken for. */
    this.seen = seen ?? null;
  }
}
export class Engine {
  /** @param {WebAssembly.Module} module @param {string} source the worker's script */
  constructor(module, source) {
    this.module = module;
    this.url = URL.createObjectURL(new Blob([source], { type: "text/javascript" }));
    /** Files that the board needs, by name. @type {Map<string, Blob>} */
    this.files = new Map();
    this.waiting = new Map();
    this.number = 0;
    /** How often a fresh worker took the place of one that stopped. */
    this.lives = 0;
    this.line = Promise.resolve();
    this.restart();
  }
  restart() {
    this.worker?.terminate();
    this.lives += 1;
    this.put = new Map();
    this.worker = new Worker(this.url);
    this.worker.addEventListener("message", ({ data }) => this.hear(data));
    this.worker.addEventListener("error", (e) => { e.preventDefault(); this.fail(e.message || "the worker ended"); });
    this.worker.postMessage({ module: this.module });
  }
  hear(data) {
    if (data.dead !== undefined) return this.fail(data.dead);
    const { resolve, reject } = this.waiting.get(data.id) ?? {};
    this.waiting.delete(data.id);
    data.error ? reject?.(new Refusal(data.error)) : resolve?.({ told: data.ok, bytes: data.bytes, ms: data.ms });
  }
  /** The engine has stopped: who waits is told, and a fresh one takes its place. */
  fail(words) {
    const memory = /memory|allocat|capacity|out of bounds/i.test(words);
    const told = memory
      ? { message: "the work needs more memory than this tab has", hint: "thin the scan, close other tabs, or use the command line" }
      : { message: `the engine stopped on this input (${words.split("\n")[0].slice(0, 200)})`, hint: "what you loaded is still here; change the last setting, or send the files to the project" };
    const all = [...this.waiting.values()];
    this.waiting.clear();
    this.restart();
    all.forEach(({ reject }) => reject(new Refusal(told)));
  }
  send(question, file) {
    return new Promise((resolve, reject) => {
      const id = ++this.number;
      this.waiting.set(id, { resolve, reject });
      this.worker.postMessage({ id, question, file }, file ? [file] : []);
    });
  }
  /** Answers one question after all before it; the board's files are put first. @returns {Promise<{told: any, bytes: Uint8Array, ms: number}>} */
  ask(question) {
    const turn = this.line.then(async () => {
      for (const [name, blob] of this.files) {
        if (this.put.get(name) === blob) continue;
        await this.send({ ask: "put", name }, await blob.arrayBuffer());
        this.put.set(name, blob);
      }
      for (const name of [...this.put.keys()].filter((n) => !this.files.has(n))) {
        await this.send({ ask: "drop", name });
        this.put.delete(name);
      }
      return this.send(question);
    });
    this.line = turn.catch(() => {});
    return turn;
  }
}
/** The engine packed inside the page. @param {string} packed base64 of a gzip */
export async function unpacked(packed) {
  const raw = atob(packed), bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return WebAssembly.compile(await new Response(stream).arrayBuffer());
}
