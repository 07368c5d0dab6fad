// The page: what is known of the board, which step is shown, and what is asked of the engine when something changes.
import { Engine, Refusal, unpacked } from "./engine.js";
import { fieldRows, named } from "./form.js";
import { forgotten, kept, recalled } from "./keep.js";
import { planView } from "./plan.js";
import { railView } from "./rail.js";
import { railSvg } from "./bend.js";
import { fileName, filesAsked, sentence, valueOf, withValue } from "./table.js";

/** After the last change of a field the work begins, ms: long enough to type on. */
const PAUSE_MS = 450;
/** Largest file that is read into a tab, bytes: an engine of 32 bits holds the file, its points and the work on them. */
const MOST_BYTES = 1.2e9;
const STEPS = ["scan", "measure", "deck", "enclosure", "files"];

export async function start(R) {
  const { html } = R, $ = (id) => document.getElementById(id);
  const engine = new Engine(await unpacked($("engine").textContent.trim()), $("worker").textContent);
  const state = {
    table: {}, shown: [], fault: null, step: "scan", looks: new Map(), survey: null, deck: null, made: null, files: null, gap: null,
    change(table, live = false, now = false) { state.table = table; live ? liven() : changed(now); },
  };
  const names = () => ({ scans: valueOf(state.table, "scan.files") ?? [valueOf(state.table, "scan.file")].filter(Boolean), photos: [state.table.photo ?? []].flat().map((p) => p.file).filter(Boolean) });
  const ready = () => names().scans.length > 0 && names().scans.every((n) => engine.files.has(n)) && Boolean(valueOf(state.table, "tape.width"));

  // ---- words at the top and at the place
  const busy = (words) => { $("busy").textContent = words; $("busy").hidden = !words; document.documentElement.toggleAttribute("data-busy", Boolean(words)); };
  const said = (id, list) => $(id).replaceChildren(...list.map((w) => html("div", { class: w.bad ? "said bad" : "said" }, html("p", {}, named(sentence(w.message))), ...(w.hint ? [html("p", { class: "next" }, html("b", {}, w.bad ? "Try: " : "Next: "), named(sentence(w.hint)))] : []))));
  const complain = (id, e) => said(id, [{ bad: true, message: e.message, hint: e instanceof Refusal ? e.hint : "load the page again" }]);

  // ---- steps
  const tabs = STEPS.map((s) => document.querySelector(`[data-step="${s}"]`));
  function go(step, focus) {
    state.step = step;
    tabs.forEach((t) => t.setAttribute("aria-current", t.dataset.step === step ? "step" : "false"));
    STEPS.forEach((s) => { $(`step-${s}`).hidden = s !== step; });
    draw();
    if (focus) $(`step-${step}`).querySelector("h2").focus();
    scrollTo({ top: 0 });
  }
  tabs.forEach((t) => t.addEventListener("click", () => go(t.dataset.step)));
  document.querySelectorAll("[data-go]").forEach((b) => b.addEventListener("click", () => go(b.dataset.go, true)));

  // ---- files in
  const IMAGE = /\.(jpe?g|png|heic|heif|webp|avif|tiff?)$/i;
  // scans before pictures: a scan says which of them are its textures
  const RANK = (file) => (/\.(toml|mtl)$/i.test(file.name) ? 0 : IMAGE.test(file.name) ? 2 : 1);
  /** Scans that ask for a file of this name beside them. */
  const wearers = (name) => [...state.looks].filter(([, seen]) => seen.told.beside?.includes(name)).map(([scan]) => scan);
  async function take(files, as) {
    const notes = [];
    for (const file of [...files].sort((a, b) => RANK(a) - RANK(b))) {
      const name = file.name;
      try {
        if (file.size > MOST_BYTES) throw new Refusal({ message: `${name} has ${(file.size / 1e6).toFixed(0)} MB, more than the ${MOST_BYTES / 1e6} MB that a browser's tab can work on`, hint: "thin the scan, or use the command line" });
        if (!file.size) throw new Refusal({ message: `${name} is empty`, hint: "export or copy it again" });
        if (/\.toml$/i.test(name)) {
          const text = await file.text();
          state.table = (await engine.ask({ ask: "parse", text })).told;
        } else {
          // a board file may name it with a folder
          const asked = filesAsked(state.table).find((n) => fileName(n) === name) ?? name;
          const known = filesAsked(state.table).includes(asked);
          engine.files.set(asked, file);
          state.looks.delete(asked);
          if (known) continue;
          const scans = wearers(name);
          if (scans.length && as !== "photo") {
            scans.forEach((s) => state.looks.delete(s));
            for (const s of scans) await look(s);
            continue;
          }
          if (/\.mtl$/i.test(name)) continue;
          if (as === "photo" || IMAGE.test(name) || file.type.startsWith("image/")) addPhoto(asked);
          else {
            await look(asked);
            addScan(asked);
          }
        }
      } catch (e) {
        const asked = filesAsked(state.table);
        if (!asked.includes(name)) engine.files.delete(name);
        notes.push({ bad: true, message: e.message, hint: e.hint });
      }
    }
    state.notes = notes;
    said("said-scan", notes);
    changed(true);
  }
  function addScan(name) {
    const now = names().scans;
    if (now.includes(name)) return;
    let t = withValue(withValue(state.table, "scan.file", undefined), "scan.files", undefined);
    t = now.length ? withValue(t, "scan.files", [...now, name]) : withValue(t, "scan.file", name);
    state.table = t;
  }
  function addPhoto(name) {
    const now = [state.table.photo ?? []].flat();
    if (now.some((p) => p.file === name)) return;
    state.table = withValue(state.table, "photo", now.length ? [...now, { file: name }] : { file: name });
  }
  function remove(name) {
    const { scans } = names(), photos = [state.table.photo ?? []].flat();
    const left = scans.filter((n) => n !== name);
    let t = state.table;
    if (left.length !== scans.length) {
      t = withValue(withValue(t, "scan.files", undefined), "scan.file", undefined);
      t = left.length > 1 ? withValue(t, "scan.files", left) : withValue(t, "scan.file", left[0]);
    }
    const others = photos.filter((p) => p.file !== name);
    if (others.length !== photos.length) t = withValue(t, "photo", others.length > 1 ? others : others[0]);
    engine.files.delete(name);
    state.looks.delete(name);
    state.table = t;
    changed(true);
  }
  async function look(name) {
    if (state.looks.has(name)) return state.looks.get(name);
    busy(`Reading ${name} …`);
    const { told, bytes } = await engine.ask({ ask: "look", name });
    const places = new Float32Array(bytes.slice(0, 12 * told.points).buffer);
    let colours = bytes.slice(12 * told.points);
    if (!told.coloured) { colours = new Uint8Array(3 * told.points); for (let i = 0; i < told.points; i++) colours.set(R.RAW, 3 * i); }
    const seen = { told, cloud: R.cloudOf(places, colours) };
    state.looks.set(name, seen);
    return seen;
  }
  const pick = (id, as) => $(id).addEventListener("change", (e) => { take([...e.target.files], as); e.target.value = ""; });
  pick("pick-any");
  pick("pick-photo", "photo");
  addEventListener("dragover", (e) => { e.preventDefault(); document.body.classList.add("over"); });
  addEventListener("dragleave", (e) => { if (!e.relatedTarget) document.body.classList.remove("over"); });
  addEventListener("drop", (e) => {
    e.preventDefault();
    document.body.classList.remove("over");
    const files = [...(e.dataTransfer?.files ?? [])];
    state.step === "files" && files.length === 1 && !/\.toml$/i.test(files[0].name) && !IMAGE.test(files[0].name) ? prove(files[0]) : take(files);
  });
  async function demo() {
    busy("Making the demo board …");
    try {
      const { told } = await engine.ask({ ask: "demo" });
      clear();
      for (const name of told.files) {
        const { bytes } = await engine.ask({ ask: "take", name });
        const blob = new File([bytes], name);
        if (filesAsked(told.board).includes(name)) engine.files.set(name, blob);
        else state.draft = blob;
      }
      state.table = told.board;
      await changed(true);
    } catch (e) { complain("said-scan", e); busy(""); }
  }
  $("demo").addEventListener("click", demo);
  function clear() {
    engine.files.clear();
    Object.assign(state, { table: {}, survey: null, deck: null, made: null, files: null, gap: null, draft: null, notes: [] });
    state.looks.clear();
  }
  $("forget").addEventListener("click", async () => {
    clear();
    await forgotten();
    await changed(true, false);
    go("scan");
    said("said-scan", [{ message: "everything is forgotten: nothing of your board is left in this browser" }]);
  });

  // ---- work
  let timer = 0, round = 0, running = null;
  /** Something changed: soon everything that depends on it is made anew. */
  function changed(now = false, keeping = true) {
    state.shown.forEach((f) => f());
    lists();
    clearTimeout(timer);
    round += 1;
    state.files = null;
    return new Promise((done) => {
      timer = setTimeout(async () => {
        if (keeping) kept({ table: state.table, files: [...engine.files].map(([name, blob]) => ({ name, blob })), draft: state.draft ?? null });
        await work();
        done();
      }, now ? 0 : PAUSE_MS);
    });
  }
  /** As the finger moves: only the enclosure, as often as the engine keeps up. */
  let living = false, again = false;
  async function liven() {
    round += 1;
    if (living) { again = true; return; }
    living = true;
    do {
      again = false;
      state.shown.forEach((f) => f());
      await house(false).catch(() => {});
    } while (again);
    living = false;
  }
  async function work() {
    const mine = round, fresh = () => mine === round;
    const before = running;
    running = (async () => {
      await before;
      if (!fresh()) return;
      try {
        for (const name of names().scans) if (engine.files.has(name)) await look(name);
        if (!names().scans.length) { state.survey = state.refused = state.deck = state.made = null; busy(""); draw(); return; }
        const { told } = await engine.ask({ ask: "write", board: valueOf(state.table, "tape.width") ? state.table : withValue(state.table, "tape.width", "200 mm") });
        state.fault = told.fault && new Refusal(told.fault);
        state.text = told.text;
        state.shown.forEach((f) => f());
        said("said-fault", state.fault ? [{ bad: true, message: state.fault.message, hint: state.fault.hint }] : []);
        if (state.fault || !ready()) { busy(""); draw(); return; }
        busy("Looking for the board in the scan …");
        const life = engine.lives, have = (what) => (what && state.life === life ? what.stamp : 0);
        const survey = (await engine.ask({ ask: "survey", board: state.table, have: have(state.survey) })).told;
        if (!survey.same) state.survey = R.unpack(survey);
        state.refused = null;
        if (!fresh()) return;
        said("said-scan", [...(state.notes ?? []), ...state.survey.warnings]);
        draw();
        busy(names().photos.length ? "Finding the rail in the photo …" : "Fitting the outline …");
        const deck = (await engine.ask({ ask: "deck", board: state.table, have: have(state.deck) })).told;
        if (!deck.same) state.deck = { ...deck, rails: R.unpack(deck.rails), stale: { pictures: true, solid: true, rail: true } };
        state.life = life;
        if (!fresh()) return;
        said("said-measure", state.deck.warnings);
        draw();
        await house(true);
        busy("");
      } catch (e) {
        if (!fresh()) return;
        busy("");
        const where = state.survey && e.stage !== "scan" && e.stage !== "frame" ? "said-measure" : "said-scan";
        complain(where, e);
        if (where === "said-scan") state.survey = null;
        // what the refused scan was taken for stays in sight beside the sentence
        state.refused = e.seen && R.unpack(e.seen);
        state.deck = state.made = null;
        draw();
        if (state.step !== "scan") complain("said-fault", e);
      }
    })();
    await running;
  }
  async function house(words) {
    if (!state.deck || !state.table.enclosure) { state.made = null; draw(); return; }
    if (words) busy("Making the enclosure …");
    const begun = performance.now();
    try {
      const { told } = await engine.ask({ ask: "house", board: state.table, rim_only: !words });
      const before = state.made;
      state.made = { ...R.unpack(told), plain: told };
      // under the finger the rim follows; the body, its gaps and its words wait for the finger to leave
      if (!words && told.rim) Object.assign(state.made, { body: before?.body ?? null, waiting: true });
      const list = [...(told.fault ? [{ bad: true, ...told.fault }] : []), ...told.warnings];
      if (words || told.fault) said("said-enclosure", list);
    } catch (e) {
      state.made = null;
      complain("said-enclosure", e);
    }
    enclosureDrawn();
    document.documentElement.dataset.housed = String(Math.round(performance.now() - begun));
  }

  // ---- step 1: files and points
  function lists() {
    const { scans, photos } = names();
    const row = (name, kind) => {
      const here = engine.files.has(name), seen = state.looks.get(name)?.told;
      const what = here ? (seen ? `${kind}, ${seen.report.points.toLocaleString("en")} points` : `${kind}, ${(engine.files.get(name).size / 1e6).toFixed(1)} MB`) : `${kind} named by the board file: drop it here too`;
      return html("li", { class: here ? "" : "missing" }, html("span", {}, html("b", {}, fileName(name)), " ", html("small", {}, what)), html("button", { type: "button", class: "plain", onclick: () => remove(name), "aria-label": `Take ${name} away` }, "take away"));
    };
    $("files-in").replaceChildren(...scans.map((n) => row(n, "scan")), ...photos.map((n) => row(n, "photo")));
    const any = scans.length + photos.length > 0;
    document.documentElement.toggleAttribute("data-any", any);
    $("needs").textContent = !any ? "" : !scans.length ? "A scan of the underside is still needed." : !valueOf(state.table, "tape.width") ? "Now the tape: type the board's width in step 2." : photos.length ? "" : "Without a photo the outline comes from the scan's mushy rim; one photo from above makes it sharp.";
    const floor = valueOf(state.table, "scan.floor");
    $("floor").value = floor === undefined ? "" : String(floor);
    $("flip").checked = Boolean(valueOf(state.table, "scan.flip"));
    $("top").checked = valueOf(state.table, "scan.side") === "top";
    if (!state.notes?.length && !any) said("said-scan", []);
  }
  $("floor").addEventListener("change", (e) => state.change(withValue(state.table, "scan.floor", e.target.value === "" ? undefined : e.target.value === "true")));
  $("flip").addEventListener("change", (e) => state.change(withValue(state.table, "scan.flip", e.target.checked || undefined)));
  $("top").addEventListener("change", (e) => state.change(withValue(state.table, "scan.side", e.target.checked ? "top" : undefined)));
  const background = () => R.cssRgb("--well"), cloud = R.cloudView($("cloud"), background);
  R.cloudByHand($("cloud"), cloud);
  /** The cut box in scan units: two ends along each direction, as shares of the scan's box. */
  const cut = { ends: [0, 1, 0, 1, 0, 1] };
  const boxOfCut = (told) => [0, 1].map((e) => [0, 1, 2].map((k) => told.lo[k] + cut.ends[2 * k + e] * (told.hi[k] - told.lo[k])));
  ["first", "second", "third"].forEach((word, k) => ["from", "to"].forEach((end, e) => {
    const input = html("input", { type: "range", min: 0, max: 1, step: 0.005, value: e, "aria-label": `${word} direction, ${end}` });
    input.addEventListener("input", () => {
      cut.ends[2 * k + e] = Number(input.value);
      drawCloud();
    });
    $("cut-ends").append(html("label", {}, `${word} direction, ${end}`, input));
  }));
  $("cut-apply").addEventListener("click", () => {
    const told = state.looks.get(names().scans[0])?.told;
    if (!told) return;
    const [lo, hi] = boxOfCut(told), ordered = [0, 1, 2].map((k) => [Math.min(lo[k], hi[k]), Math.max(lo[k], hi[k])]);
    state.change(withValue(state.table, "scan.box", [ordered.map((o) => o[0]), ordered.map((o) => o[1])]));
    $("cut").open = false;
  });
  $("cut-all").addEventListener("click", () => { state.change(withValue(state.table, "scan.box", undefined)); $("cut").open = false; });
  $("cut").addEventListener("toggle", () => drawCloud());
  function drawCloud() {
    const raw = state.looks.get(names().scans[0]), cutting = $("cut").open, known = state.survey ?? state.refused;
    $("stage-cloud").hidden = !raw && !known;
    $("welcome").hidden = Boolean(raw || known);
    if (!raw && !known) return;
    const sorted = known && !cutting, which = sorted ? known : raw;
    if (cloud.of !== which) { cloud.cloud = sorted ? R.cloudOfKinds(known.points) : raw?.cloud; cloud.of = which; cloud.far = 1; }
    // the places of a look are about the scan's middle
    cloud.box = cutting && raw ? boxOfCut(raw.told).map((p) => p.map((v, k) => v - raw.told.middle[k])) : null;
    cloud.draw();
    const word = { kept: "underside, kept", standing: "stands on it, taken away", floor: "floor, taken away", other: "other, taken away" };
    $("cloud-key").replaceChildren(...(sorted ? known.points.map((p) => html("li", {}, html("i", { style: `background:rgb(${R.ROLES[p.role].rgb})` }), `${p.name ?? word[p.role]}: ${known.counts[p.role].toLocaleString("en")}`)) : [html("li", {}, "the scan as it was read; type the width and the board is looked for in it")]));
  }

  // ---- step 2: tape, size, photo
  const rail = railView(R, $("rail"), (line, size) => {
    const photos = [state.table.photo ?? []].flat(), i = Number($("which-photo").value || 0), name = `rail-${i + 1}.svg`;
    engine.files.set(name, new File([railSvg(line, size)], name, { type: "image/svg+xml" }));
    const next = photos.map((p, k) => (k === i ? { ...p, path: name } : p));
    state.change(withValue(state.table, "photo", next.length > 1 ? next : next[0]));
  });
  $("untrace").addEventListener("click", () => {
    const photos = [state.table.photo ?? []].flat().map(({ path, ...p }) => { if (path) engine.files.delete(path); return p; });
    state.change(withValue(state.table, "photo", photos.length > 1 ? photos : photos[0]));
  });
  $("which-photo").addEventListener("change", () => { if (state.deck) state.deck.stale.rail = true; drawMeasure(); });
  function drawMeasure() {
    const d = state.deck, num = (v, digits = 1) => (v < 0 ? "−" : "") + Math.abs(v).toFixed(digits);
    $("size").hidden = !d;
    $("no-size").hidden = Boolean(d);
    if (!d) $("readings").replaceChildren();
    $("untrace").hidden = ![state.table.photo ?? []].flat().some((p) => p.path);
    $("rail-part").hidden = !d?.rails?.length;
    $("no-photo").hidden = !d || d.rails.length > 0;
    if (!d) return;
    const share = (100 * d.scale.standard_uncertainty) / d.scale.mm_per_unit;
    $("size").replaceChildren(...[
      ["Length", `${num(d.outline.length_mm)} mm`, `± ${num(d.scale_over_length_mm)} mm`],
      ["Width", `${num(d.outline.width_mm)} mm`, ""],
      ["Scale", `${d.scale.mm_per_unit.toPrecision(5)} mm`, `a scan unit, ± ${share.toFixed(2)} %`],
      ["Scan's scatter", `${num(d.surface_rms_mm, 2)} mm`, "about the surface"],
    ].map(([t, v, s]) => html("div", {}, html("dt", {}, t), html("dd", {}, v, html("small", {}, s)))));
    const t = d.tape, row = (r) => html("tr", { class: r.agrees ? "" : "bad" }, html("td", {}, r.name), html("td", {}, `${num(r.reading_mm)} mm`), html("td", {}, `${r.residual_mm < 0 ? "−" : "+"}${Math.abs(r.residual_mm).toFixed(2)} mm`), html("td", {}, r.agrees ? "agrees" : `${num(r.against_rest_mm)} mm off the rest: read it again`));
    $("readings").replaceChildren(html("table", {}, html("thead", {}, html("tr", {}, ...["reading", "tape", "residual", ""].map((h) => html("th", {}, h)))), html("tbody", {}, ...t.readings.map(row), ...t.unused.map((u) => html("tr", { class: "bad" }, html("td", {}, u.name), html("td", {}, `${num(u.reading_mm)} mm`), html("td", {}, "not used"), html("td", {}, u.why))))),
      ...(t.next_reading ? [html("p", { class: "next-reading" }, html("b", {}, "Read next: "), `${t.next_reading.name}. It would help most.`)] : []));
    if (d.stale.rail && state.step === "measure" && d.rails.length) {
      d.stale.rail = false;
      const many = d.rails.length > 1, i = Math.min(Number($("which-photo").value || 0), d.rails.length - 1);
      $("which-photo").hidden = !many;
      if ($("which-photo").length !== d.rails.length) $("which-photo").replaceChildren(...d.rails.map((_, k) => html("option", { value: k }, `photo ${k + 1}`)));
      R.openData(d.page);
      rail.set(d.page.photos[i], d.rails[i], R.unpack(d.page.photos[i].lines));
    }
    if (state.step === "measure") rail.draw();
  }

  // ---- step 3: the deck, by the report's own pictures
  const lose = (root) => root.querySelectorAll("canvas").forEach((c) => c.getContext("webgl2")?.getExtension("WEBGL_lose_context")?.loseContext());
  function drawDeck() {
    $("no-deck").hidden = Boolean(state.deck);
    if (state.step !== "deck") return;
    if (!state.deck) { $("pictures").replaceChildren(); return; }
    if (!state.deck.stale.pictures) return;
    state.deck.stale.pictures = false;
    lose($("pictures").querySelector(".stage") ?? $("nothing"));
    $("pictures").replaceChildren();
    R.openData({ ...state.deck.page, photos: [] });
    R.pictures($("pictures"));
  }

  // ---- step 4: the enclosure
  const plan = planView(R, $("plan"), state), solidCanvas = $("solid");
  let solid = null, shown3d = 0;
  const turnSolid = (dx, dy) => { solid.turn += dx; solid.lift = Math.max(-1.57, Math.min(1.57, solid.lift + dy)); solid.draw(); };
  const zoomSolid = (f) => { solid.far = Math.max(0.12, Math.min(3, solid.far * f)); solid.draw(); };
  R.turnable(solidCanvas, { turn: (x, y) => solid && turnSolid(x, y), zoom: (f) => solid && zoomSolid(f) });
  solidCanvas.addEventListener("keydown", (e) => {
    const t = { ArrowLeft: [0.12, 0], ArrowRight: [-0.12, 0], ArrowUp: [0, 0.12], ArrowDown: [0, -0.12] }[e.key];
    if (!solid || !t) return;
    turnSolid(...t);
    e.preventDefault();
  });
  function enclosureDrawn() {
    ticks();
    const m = state.made, has = Boolean(state.deck && state.table.enclosure);
    $("no-enclosure").hidden = has;
    $("bench").hidden = !has;
    if (state.step !== "enclosure" || !has) return;
    const d = state.deck;
    if (d.stale.solid) {
      d.stale.solid = false;
      R.openData(d.page);
      solid = R.solidView(solidCanvas);
      const { mesh } = R.opened();
      plan.setDeck({ x: mesh.x.subarray(0, mesh.border), y: mesh.y.subarray(0, mesh.border) });
      if (solid) {
        solid.setLayer(R.opened().board.height);
        [solid.turn, solid.lift, solid.contours, solid.lines] = [solidCanvas.clientWidth < 620 ? -1.1 : -0.55, 0.75, false, false];
        solid.fit();
      }
    }
    plan.setMade(m);
    if (solid) {
      const began = performance.now();
      if (!m?.waiting) solid.setHousing(m?.body ? R.facets(m.body.mesh) : null);
      solid.draw();
      shown3d = performance.now() - began;
      document.documentElement.dataset.drawn = shown3d.toFixed(1);
    }
    const num = (v) => v.toFixed(1), rows = [];
    if (m?.body) {
      const b = m.body, [l, w, h] = b.size_mm;
      rows.push(["Body", `${num(l)} × ${num(w)} × ${num(h)} mm, ${num(b.depth_mm)} mm deep inside, ${(b.volume_mm3 / 1000).toFixed(0)} cm³ of material`, true]);
      if (b.to_rail) rows.push(["Rim to the rail", `at least ${num(b.to_rail.mm)} mm`, b.to_rail.mm > 0]);
      rows.push(["Screws", `${b.screws.length}, up to ${Math.max(0, ...b.screws.map((s) => s.tilt_deg)).toFixed(1)}° off the deck's normal`, true]);
      for (const p of b.parts) rows.push([`Room for ${p.name}`, `${num(p.height_left_mm)} mm above, ${num(p.side_left_mm)} mm beside${p.fits ? "" : ": does not fit"}`, p.fits]);
      for (const c of b.checks) rows.push([c.name, `${num(c.have_mm)} mm${c.met ? "" : `, ${num(c.want_mm)} mm are wanted: ${c.cure}`}`, c.met]);
      for (const p of b.prints) rows.push([p.name, p.size_mm ? `${p.size_mm.map((v) => v.toFixed(0)).join(" × ")} mm as printed` : "", true]);
    } else if (m?.rim) rows.push(["Mating face", `${num(m.rim.standoff_mm)} mm from the deck; give a depth and the whole body is made`, true]);
    if (m?.seal?.gasket) rows.unshift(["Gasket at rest", m.seal.gasket.sealed_all_round ? "sealed all round" : "not sealed all round: see the curve", m.seal.gasket.sealed_all_round]);
    document.documentElement.toggleAttribute("data-waiting", Boolean(m?.waiting));
    if (m?.waiting) return;
    $("facts").replaceChildren(...rows.map(([t, v, ok]) => html("div", { class: ok ? "" : "bad" }, html("dt", {}, t), html("dd", {}, v))));
    $("rim-gap").replaceChildren();
    if (m?.gap) R.drawPlot($("rim-gap"), { ...m.gap, zero: true });
  }
  $("make-enclosure").addEventListener("click", () => {
    const w = state.deck?.outline.width_mm ?? 200;
    state.change(withValue(withValue(state.table, "enclosure.length", `${Math.round(1.5 * w)} mm`), "enclosure.depth", "34 mm"));
  });
  const listOf = (key, blank) => () => { const now = state.table[key] ?? []; state.change(withValue(state.table, key, [...now, blank(now.length + 1)])); };
  $("add-part").addEventListener("click", listOf("part", (n) => ({ name: `part ${n}`, length: "60 mm", width: "40 mm", height: "20 mm", at: ["0 mm", "0 mm"] })));
  $("add-opening").addEventListener("click", listOf("opening", (n) => ({ name: `opening ${n}`, at: ["0 mm", "0 mm"], diameter: "12 mm" })));
  function things() {
    const one = (key, i, fields) => html("li", {}, ...fields.map(([f, label]) => {
      const value = state.table[key][i][f], input = html("input", { type: "text", value: value ?? "", "aria-label": `${label} of ${state.table[key][i].name}`, "data-key": `${key}.${i}.${f}` });
      input.addEventListener("change", () => {
        const typed = input.value.trim(), bare = f !== "name" && typed && /^[\d.,\s]+$/.test(typed);
        state.change(withValue(state.table, `${key}.${i}.${f}`, bare ? `${typed.replace(",", ".")} mm` : typed));
      });
      return html("label", {}, html("small", {}, label), input);
    }), html("button", { type: "button", class: "plain", onclick: () => state.change(withValue(state.table, `${key}.${i}`, undefined)) }, "take away"));
    const active = document.activeElement?.dataset?.key;
    if (active && /^(part|opening)\./.test(active) && $("parts").contains(document.activeElement)) return;
    $("parts").replaceChildren(...(state.table.part ?? []).map((_, i) => one("part", i, [["name", "name"], ["length", "length"], ["width", "width"], ["height", "height"], ["clearance", "clearance"]])));
    $("openings").replaceChildren(...(state.table.opening ?? []).map((_, i) => one("opening", i, [["name", "name"], ["diameter", "diameter"]])));
  }
  state.shown.push(things);

  // ---- step 5: files out
  const save = (name, bytes, type = "application/octet-stream") => {
    const url = URL.createObjectURL(new Blob([bytes], { type }));
    html("a", { href: url, download: name }).click();
    setTimeout(() => URL.revokeObjectURL(url), 60000);
  };
  async function make() {
    if (!state.deck) return;
    busy("Making every file …");
    try {
      const { told, ms } = await engine.ask({ ask: "files", board: state.table });
      state.files = told.files;
      document.documentElement.dataset.filed = String(Math.round(ms));
      said("said-files", []);
    } catch (e) { complain("said-files", e); state.files = null; }
    busy("");
    drawFiles();
  }
  const takeFile = async (name) => { try { save(name, (await engine.ask({ ask: "take", name })).bytes); } catch (e) { complain("said-files", e); } };
  $("zip").addEventListener("click", async () => {
    try { save(`${String(valueOf(state.table, "deck.name") ?? "deck").replace(/[^\w-]+/g, "-")}.zip`, (await engine.ask({ ask: "zip", board: state.table, along: drawn() })).bytes, "application/zip"); } catch (e) { complain("said-files", e); }
  });
  $("board-toml").addEventListener("click", async () => {
    if (!state.text) return;
    save("board.toml", state.text, "text/plain");
    for (const name of drawn()) save(name, await engine.files.get(name).arrayBuffer(), "image/svg+xml");
  });
  $("make").addEventListener("click", make);
  /** What was drawn here and goes with the board file. */
  const drawn = () => [state.table.photo ?? []].flat().map((p) => p.path).filter((n) => n && engine.files.has(n));
  const FIRST = [["deck.step", "the deck, for any CAD program"], ["enclosure.step", "the enclosure, for any CAD program"], ["mating-face.step", "the face that meets the deck"], ["outline.pdf", "paper outline, print at 100 %"], ["report.html", "everything measured, with pictures"]];
  function drawFiles() {
    $("no-files").hidden = Boolean(state.deck);
    $("make-part").hidden = !state.deck || Boolean(state.files);
    $("files-part").hidden = !state.files;
    $("board-toml").disabled = !state.text;
    $("prove-draft").hidden = !state.draft;
    if (!state.files) return;
    const size = (n) => (n < 1e5 ? `${(n / 1e3).toFixed(1)} kB` : `${(n / 1e6).toFixed(1)} MB`);
    const row = (f, what) => html("li", {}, html("button", { type: "button", class: "file", onclick: () => takeFile(f.name) }, f.name), html("small", {}, ` ${what || f.what} (${size(f.bytes)})`));
    const first = FIRST.flatMap(([n, w]) => state.files.filter((f) => f.name === n).map((f) => row(f, w)));
    $("files-first").replaceChildren(...first);
    $("files-all").replaceChildren(...state.files.map((f) => row(f, "")));
    $("count").textContent = `all ${state.files.length} files`;
  }
  async function prove(file) {
    busy("Laying the enclosure on the deck …");
    try {
      const name = `enclosure to check: ${file.name}`;
      engine.files.set(name, file);
      const { told } = await engine.ask({ ask: "gaps", board: state.table, name, found: $("by-rim").checked });
      engine.files.delete(name);
      state.gap = told;
      said("said-gap", told.warnings);
      lose($("gap").querySelector(".stage") ?? $("nothing"));
      $("gap").replaceChildren();
      R.openData({ ...told.page, stations: [], profiles: [], photos: [], rail: [], points: [] });
      R.pictures($("gap"));
      if (state.deck) Object.assign(state.deck.stale, { pictures: true, solid: true });
      const seen = new Set(told.files.map((f) => f.name));
      if (state.files) state.files = [...state.files.filter((f) => !seen.has(f.name)), ...told.files];
      $("gap-files").replaceChildren(...told.files.map((f) => html("li", {}, html("button", { type: "button", class: "file", onclick: () => takeFile(f.name) }, f.name), html("small", {}, ` ${f.what}`))));
    } catch (e) { engine.files.forEach((_, n) => n.startsWith("enclosure to check") && engine.files.delete(n)); complain("said-gap", e); }
    busy("");
    drawFiles();
  }
  $("pick-part").addEventListener("change", (e) => { if (e.target.files[0]) prove(e.target.files[0]); e.target.value = ""; });
  $("prove-draft").addEventListener("click", () => state.draft && prove(state.draft));

  // ---- drawing what the step shows
  function ticks() {
    tabs.forEach((t) => t.toggleAttribute("data-done", { scan: Boolean(state.survey), measure: Boolean(state.deck), deck: Boolean(state.deck), enclosure: Boolean(state.made?.body || state.made?.rim) && !state.made?.plain?.fault, files: Boolean(state.files) }[t.dataset.step]));
  }
  function draw() {
    ticks();
    lists();
    if (state.step === "scan") drawCloud();
    drawMeasure();
    drawDeck();
    enclosureDrawn();
    drawFiles();
    if (state.step === "files" && state.deck && !state.files && !document.documentElement.hasAttribute("data-busy")) make();
    document.documentElement.dataset.state = state.deck ? "deck" : state.survey ? "survey" : "empty";
  }
  for (const group of ["tape", "more_tape", "enclosure", "shell", "screws", "around"]) $(`fields-${group}`).append(...fieldRows(html, group, state));
  let wide = innerWidth;
  addEventListener("resize", () => { if (innerWidth !== wide) { wide = innerWidth; draw(); plan.draw(); } });

  const last = await recalled();
  if (last?.table) {
    state.table = last.table;
    state.draft = last.draft;
    last.files.forEach(({ name, blob }) => engine.files.set(name, blob));
    $("again").hidden = !last.files.length;
  }
  go("scan");
  document.documentElement.dataset.ready = "yes";
  if (last?.table && Object.keys(last.table).length) changed(true, false);
  else { state.shown.forEach((f) => f()); lists(); }
}
