// Fields of the board file: each knows its key, its words and where its value goes.
import { valueOf, withUnit, withValue } from "./table.js";

/** [key, label, remark, kind, placeholder or choices] by group. Lengths take any unit. */
export const FIELDS = {
  tape: [
    ["tape.width", "Width", "rail to rail, at the widest place", "length", "needed"],
    ["tape.length", "Length", "nose to tail, straight", "length", "helps most"],
    ["tape.wheelbase", "Wheelbase", "between the middles of the bolt patterns", "length", "optional"],
    ["deck.thickness", "Thickness", "at a truck hole or the rail", "length", "11 mm"],
  ],
  more_tape: [
    ["tape.tolerance", "One reading is good to", "", "length", "0.7 mm"],
    ["deck.name", "Name of the board", "", "text", "deck"],
    ["deck.rail_radius", "Radius of the rail's rounds", "", "length", "found"],
  ],
  enclosure: [
    ["enclosure.length", "Length along the board", "", "length", "no enclosure"],
    ["enclosure.offset", "Middle, towards the nose", "", "length", "0 mm"],
    ["enclosure.inset", "In from the rail", "", "length", "14 mm"],
    ["enclosure.depth", "Clear depth inside", "without it only the mating face is made", "length", "none"],
    ["enclosure.gasket", "Gasket, free", "the foam strip before it is pressed", "length", "3 mm"],
    ["enclosure.squeeze", "Pressed away", "", "text", "30 %"],
    ["enclosure.flange", "Width of the rim", "", "length", "16 mm"],
  ],
  shell: [
    ["enclosure.wall", "Wall", "", "length", "3.5 mm"],
    ["enclosure.floor", "Floor", "", "length", "4 mm"],
    ["enclosure.flange_thickness", "Rim's thickness", "", "length", "5 mm"],
    ["enclosure.draft", "Walls lean in", "", "text", "0 deg"],
    ["enclosure.seat", "Seat", "", "choice", ["plain", "groove"]],
  ],
  screws: [
    ["screws.size", "Size", "", "choice", ["M4", "M3", "M5", "M6"]],
    ["screws.pitch", "At most apart", "", "length", "110 mm"],
    ["screws.insert", "Threaded inserts", "their length; empty: bolts through the deck", "length", "none"],
    ["screws.slip", "Slots at the ends", "", "length", "0 mm"],
  ],
  around: [
    ["printer.bed", "Printer: width x depth x height", "a longer body is cut into parts", "text", "220 x 220 x 250 mm"],
    ["rider.sag", "Sag, standing still", "at mid wheelbase", "length", "none"],
    ["rider.mass", "or rider's mass", "gives an estimate", "text", "80 kg"],
    ["trucks.wheelbase", "Trucks: wheelbase", "with the next two: clearances are checked", "length", "not checked"],
    ["trucks.wheel", "Wheel's diameter", "", "length", ""],
    ["trucks.axle_height", "Baseplate to axle", "", "length", ""],
  ],
};

/** A message with the names of fields as this page writes them, in place of the board file's keys. @param {string} text */
export function named(text) {
  const labels = new Map(Object.values(FIELDS).flat().map(([key, label]) => [key, label]));
  return text.replace(/\b[a-z]+\.[a-z_]+\b/gi, (key) => (labels.has(key.toLowerCase()) ? `“${labels.get(key.toLowerCase())}”` : key));
}
/** Rows of fields that read and write a table through `state`. */
export function fieldRows(html, group, state) {
  return FIELDS[group].map(([key, label, remark, kind, extra]) => {
    const id = `f-${key.replaceAll(".", "-")}`;
    let input, unit = "";
    if (kind === "choice") input = html("select", { id }, ...extra.map((c, i) => html("option", i ? { value: c } : { value: "" }, c)));
    else input = html("input", { id, type: "text", autocomplete: "off", inputmode: "text", placeholder: extra || "" });
    if (kind === "length") unit = html("select", { class: "unit", "aria-label": `Unit of: ${label}` }, ...["mm", "cm", "in"].map((u) => html("option", {}, u)));
    input.dataset.key = key;
    const change = () => {
      const typed = kind === "length" ? withUnit(input.value, unit.value) : input.value.trim();
      // a file that is handed to another program keeps its own words: only what differs is written
      if (typed !== String(valueOf(state.table, key) ?? "")) state.change(withValue(state.table, key, typed));
    };
    input.addEventListener("change", change);
    if (unit) unit.addEventListener("change", () => {
      input.value = input.value.replace(/\s*(mm|cm|in)\s*$/, "");
      change();
    });
    const said = html("p", { class: "fault", id: `${id}-fault`, role: "alert" });
    input.setAttribute("aria-describedby", said.id);
    state.shown.push(() => {
      const value = valueOf(state.table, key);
      if (document.activeElement !== input) {
        const m = kind === "length" && /^(.*?)\s*(mm|cm|in)$/.exec(String(value ?? ""));
        if (m) unit.value = m[2];
        input.value = m ? m[1] : value ?? "";
      }
      const mine = state.fault?.message?.includes(key);
      said.textContent = mine ? `${state.fault.message} ${state.fault.hint}` : "";
      input.toggleAttribute("aria-invalid", Boolean(mine));
    });
    return html("div", { class: "row" }, html("label", { for: id }, label, ...(remark ? [html("small", {}, remark)] : [])), html("span", { class: "value" }, input, unit), said);
  });
}
