/*
The views: which question is answered, and what is shown with its answer.
*/

const VIEWS = ["steep", "rows", "buy", "first", ...(teach ? ["teach"] : []), ...(visits ? ["visits"] : [])];

function show(view) {
  if (!VIEWS.includes(view)) return false;
  state.view = view;
  document.body.dataset.view = view;
  const [first, ...rest] = data.findings[view];
  byId("finding").textContent = first;
  byId("rest").textContent = rest.join(" ");
  byId("rest").hidden = !rest.length;
  for (const button of byId("views").children) {
    button.setAttribute("aria-pressed", String(button.dataset.view === view));
    if (button.dataset.view === view) reveal(button);
  }
  byId("legend-classes").hidden = view !== "steep";
  byId("legend-work").hidden = view !== "first";
  byId("legend-teach").hidden = view !== "teach";
  byId("legend-visits").hidden = view !== "visits";
  byId("legend-lines").hidden = plainly();
  byId("legend-water").hidden = ["buy", "teach", "visits"].includes(view);
  const byBearing = byId("legend-by-bearing");
  if (byBearing) byBearing.hidden = view !== "rows";
  const cross = byId("legend-excluded");
  if (cross) cross.hidden = view === "steep";
  remember();
  byId("order").open = view === "buy";
  byId("calendar").hidden = view !== "buy";
  byId("order").hidden = view !== "buy" || data.order === null;
  byId("totals").open = view === "buy";
  for (const id of ["work", "walk", "curve", "first-care"]) {
    byId(id).hidden = view !== "first";
    byId(id).open = view === "first";
  }
  if (work.curve === null) byId("curve").hidden = true;
  for (const id of DEMO_FOLDS) {
    byId(id).hidden = view !== "teach" || !byId(id).children.length;
    byId(id).open = id === "demo-list" || id === "demo-villages" || id === "demo-curve";
  }
  for (const id of VISIT_FOLDS) {
    byId(id).hidden = view !== "visits";
    byId(id).open = id !== "visit-out";
  }
  byId("totals").hidden = plainly();
  byId("cautions").hidden = view === "first";
  // What a card tells first goes by the view.
  if (state.open !== null) fillCard(state.open);
  // Beside lists that answer the question, the legend waits to be opened.
  byId("legend").open = legendFits() && ["steep", "rows"].includes(view);
  // The buying view widens the panel, so the map is measured again; of another size it is drawn by that.
  const before = map.getSize();
  map.invalidateSize({ animate: false });
  if (map.getSize().distanceTo(before) < 2) {
    fields._update();
    redrawHeights();
  }
  return true;
}

/* On a phone the views stand in one line that moves sideways: the chosen one is brought into view. */
function reveal(button) {
  const line = byId("views");
  const [own, all] = [button, line].map((one) => one.getBoundingClientRect());
  line.scrollLeft += own.left - all.left - (all.width - own.width) / 2;
}

function startViews() {
  byId("views").setAttribute("aria-label", data.words.views);
  for (const view of VIEWS) {
    const label = data.words[`view_${view}`];
    const button = make("button", { type: "button", "data-view": view }, label);
    button.addEventListener("click", () => show(view));
    // By keyboard alone: under a finger nothing may move away.
    button.addEventListener("focus", () => button.matches(":focus-visible") && reveal(button));
    byId("views").append(button);
  }
}
