/*
Fits the page to paper and back.
*/

// What a sheet leaves for text, and the least and most that the map takes of it [mm].
const SHEET_MM = 297 - 2 * 14;
const MAP_MM = [85, 150];

const printing = () => document.body.classList.contains("printing");

/* The map leaves its sheet room for the heading and the legend: a legend alone explains nothing. */
function sizeMap() {
  const mm = 25.4 / 96;
  const frame = byId("map").getBoundingClientRect();
  const others = byId("legend").getBoundingClientRect().bottom - document.body.getBoundingClientRect().top - frame.height;
  const left = Math.floor(SHEET_MM - others * mm) - 4;
  byId("map").style.height = `${Math.max(MAP_MM[0], Math.min(MAP_MM[1], left))}mm`;
}

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
    placeLegend();
    sizeMap();
    map.invalidateSize({ animate: false });
    if (before.framed) fit(before.framed);
    else map.fitBounds(before.bounds, { animate: false });
    fields._update();
  }
  function restore() {
    if (!before) return;
    document.body.classList.remove("printing");
    byId("map").style.height = "";
    placeLegend();
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
