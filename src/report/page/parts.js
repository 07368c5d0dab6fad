// What every part of the page is put together from.
const hint = (text) => html("span", { class: "about" }, text);
let redraws = [], place = null;
const section = (id, title, ...parts) => place.append(html("section", { id }, html("h2", {}, title), ...parts));
const button = (name, act) => html("button", { type: "button", onclick: act }, name);
const figure = (title, about, from, ...parts) => {
  const small = html("small", {}, about, " ", ...(from ? [html("cite", {}, from)] : []));
  return html("figure", {}, html("figcaption", {}, html("b", {}, title), small), ...parts);
};
/** Draws now and whenever the width, the colours or the paper change. */
const keep = (draw) => { redraws.push(draw); };
let view = null, current = null;
