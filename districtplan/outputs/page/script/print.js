/*
Fits the page to paper and back.
*/

const printing = () => document.body.classList.contains("printing");

/* Paper has another shape than the screen: measure again, fit what was on the screen, restore. */
function startPrinting() {
  const folds = ["legend", "cautions", "first-care"];
  let before = null;
  function prepare() {
    if (before) return;
    before = { bounds: map.getBounds(), framed: state.framed, centre: map.getCenter() };
    before.zoom = map.getZoom();
    before.open = folds.map((id) => byId(id).open);
    document.body.classList.add("printing");
    for (const id of folds) byId(id).open = true;
    map.invalidateSize({ animate: false });
    if (before.framed) fit(before.framed);
    else map.fitBounds(before.bounds, { animate: false });
    fields._update();
  }
  function restore() {
    if (!before) return;
    document.body.classList.remove("printing");
    folds.forEach((id, at) => {
      byId(id).open = before.open[at];
    });
    map.invalidateSize({ animate: false });
    map.setView(before.centre, before.zoom, { animate: false });
    state.framed = before.framed;
    before = null;
    fields._update();
  }
  window.addEventListener("beforeprint", prepare);
  window.addEventListener("afterprint", restore);
  // Some browsers tell it only so.
  window.matchMedia("print").addEventListener("change", ({ matches }) => (matches ? prepare() : restore()));
}
