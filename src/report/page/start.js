// The report page: its data are inside it.
openData(JSON.parse(document.getElementById("data").textContent));
pictures(document.getElementById("pictures"));
// ink on white paper, also from a dark screen
for (const when of ["beforeprint", "afterprint"]) addEventListener(when, () => {
  document.documentElement.classList.toggle("paper", when === "beforeprint");
  if (when === "beforeprint") document.querySelectorAll("details").forEach((d) => { d.open = true; });
  redraw();
  // a page is printed with the 3-D canvas as the screen last showed it; a copy in 2-D is printed as it is now
  const solid = document.querySelector(".stage canvas"), copy = document.querySelector(".copy");
  Object.assign(copy, { width: solid.width, height: solid.height });
  copy.getContext("2d").drawImage(solid, 0, 0);
});
document.documentElement.dataset.ready = view ? "solid" : "plan";
