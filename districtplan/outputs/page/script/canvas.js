/*
The canvas of the plots: what is drawn on it in which order. Plots are drawn on one canvas from
columns: one map object a plot would not bear 100,000.
*/

// From this size on the plots themselves are loaded: smaller ones are told apart by no shape.
const LOAD_FROM = 6;

// Where something is written over the map, in pixels of the canvas.
let taken = [];

function drawPlots(context, frame, size, view) {
  const near = villages.filter((village) => inView(village, frame, size));
  const typical = typicalOf(near, frame, size);
  state.typical = typical;
  const close = typical >= SHAPE_FROM;
  const all = close ? near.flatMap((village) => village.rows.filter((i) => seen(i, frame, size))) : [];
  const rows = all.filter((i) => !faded(plots.place[i]));
  if (state.view === "teach") fillReach(context, frame);
  fade(context, all.filter((i) => faded(plots.place[i])), frame);
  drawDots(context, close ? near.filter((village) => !village.rows.length) : near, frame);
  fillPlots(context, rows, frame);
  if (close) {
    if (!plainly()) strokeRows(context, rows, frame);
    if (typical >= ROWS_FROM && !["buy", "teach", "visits"].includes(state.view)) strokeFlow(context, frame, size);
    strokeEdges(context, rows, frame);
    if (state.view === "teach" && typical >= HALVES_FROM) strokeHalves(context, frame, size);
    if (state.view === "first" && typical >= ROWS_FROM) strokeWork(context, frame, size);
    writeMarks(context, rows, frame);
    if (state.view === "rows") markPegs(context, rows, frame);
  }
  if (state.open !== null) {
    strokeAll(context, [state.open], frame, { width: 9, colour: PAPER });
    strokeAll(context, [state.open], frame, { width: 5, colour: ACCENT });
  }
  if (state.view === "teach") markUnreached(context, frame);
  if (state.view === "visits") strokeRoutes(context, frame, size);
  const ranked = rankedPlaces();
  taken = ranked && typical < NUMBER_FROM ? writeRanks(context, frame, view, ranked) : covered(view);
  // The heading of a page of one village names it, and its finding says the rest.
  if (villages.length > 1 && (typical < 2 * NUMBER_FROM || state.view === "buy")) writeVillages(context, frame, view, taken);
}

/* A canvas over the view and a margin. The map library moves and scales it between redraws. */
const Drawing = L.Renderer.extend({
  _initContainer() {
    this._container = make("canvas", { class: this.options.name, "aria-hidden": "true" });
  },
  _destroyContainer() {
    this._container.remove();
  },
  _updatePaths() {},
  /* The map was moved just before, and drawn by that. */
  _reset() {
    this._updateTransform(this._center, this._zoom);
  },
  _update() {
    if (this._map._animatingZoom && this._bounds) return;
    L.Renderer.prototype._update.call(this);
    const size = this._bounds.getSize();
    // At most two device pixels a pixel: more can't be told apart and costs a phone its memory.
    const dense = Math.min(2, window.devicePixelRatio || 1);
    this._container.width = Math.round(size.x * dense);
    this._container.height = Math.round(size.y * dense);
    this._container.style.width = `${size.x}px`;
    this._container.style.height = `${size.y}px`;
    L.DomUtil.setPosition(this._container, this._bounds.min);
    const context = this._container.getContext("2d");
    context.scale(dense, dense);
    const corner = this._map.getPixelOrigin().add(this._bounds.min);
    const shift = this._map.containerPointToLayerPoint([0, 0]).subtract(this._bounds.min);
    const view = L.bounds(shift, shift.add(this._map.getSize()));
    this.options.draw(context, frameOf(this._map.getZoom(), corner), size, view);
  },
});

function drawFields(context, frame, size, view) {
  if (printing()) {
    // Drawn once to know where names will stand: heights below them are written beside them.
    drawPlots(context, frame, size, view);
    paintGround(context, frame, size, view);
  }
  drawPlots(context, frame, size, view);
  fields.fire("drawn", { typical: state.typical });
  if (state.typical >= LOAD_FROM) want(villages.filter((village) => inView(village, frame, size)));
}

let drawing = null;

/* Draw with the next picture, however often it is asked for until then. */
function redraw() {
  drawing ??= requestAnimationFrame(() => {
    drawing = null;
    fields._update();
  });
}
