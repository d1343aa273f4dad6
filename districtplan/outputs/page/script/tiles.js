/*
Pictures of the ground from the network, below the plots and above the hills: where the plan names a
server of them, and only once someone switches them on. That stands in no address, so that who opens
one that was sent asks nobody for anything.
*/

// Null where the plan names no server.
const tiles = data.tiles;

// On their way at once: more would hold up one another on a weak connection.
const TILES_AT_ONCE = 6;
// A few more than the largest screen shows.
const TILES_KEPT = 300;

/*
Squares of the map's own plane, so that they lie on it as they are. They wait for one another, those
in the middle first; what is moved out of view is no longer waited for.
*/
const Tiles = L.GridLayer.extend({
  initialize(options) {
    L.GridLayer.prototype.initialize.call(this, options);
    this.waiting = new Map();
    this.coming = new Set();
    this.there = new Map();
    this.on("tileload", ({ tile, coords }) => this.keep(tile, coords));
    this.on("tileunload", ({ tile }) => this.leave(tile));
    this.on("load", this.forget);
  },
  createTile(place, done) {
    const picture = make("img", { alt: "", referrerpolicy: "no-referrer" });
    const settle = (fault) => {
      this.coming.delete(picture);
      done(fault, picture);
      this.ask();
    };
    picture.addEventListener("load", () => settle(null));
    picture.addEventListener("error", () => settle(new NotThere(tiles.address)));
    this.waiting.set(picture, tiles.address.replace(/\{(\w)\}/g, (_, name) => place[name]));
    this.ask();
    return picture;
  },
  ask() {
    for (const [picture, address] of this.waiting) {
      if (this.coming.size >= TILES_AT_ONCE) return;
      this.waiting.delete(picture);
      this.coming.add(picture);
      picture.src = address;
    }
  },
  /* Kept until a whole view is there: the map is made anew for paper, which waits for nothing. */
  keep(picture, place) {
    this.there.set(picture, place);
    if (this.there.size > TILES_KEPT) this.there.delete(this.there.keys().next().value);
  },
  forget() {
    for (const picture of this.there.keys()) {
      if (!picture.isConnected) this.there.delete(picture);
    }
  },
  leave(picture) {
    this.waiting.delete(picture);
    if (!this.coming.delete(picture)) return;
    picture.removeAttribute("src");
    this.ask();
  },
});

const online = tiles && onlineOf(tiles);

function onlineOf({ zooms: [minZoom, maxNativeZoom] }) {
  const layer = new Tiles({ pane: "ground", zIndex: 3, minZoom, maxNativeZoom, updateWhenIdle: true, updateWhenZooming: false });
  // Told until a whole view is there, and not picture by picture.
  let [failed, missing] = [false, false];
  const tell = () => {
    const far = map.hasLayer(layer) && Math.round(map.getZoom()) < minZoom;
    const said = far ? data.words.tiles_nearer : missing ? data.words.tiles_missed : "";
    if (byId("tiles-told").textContent !== said) byId("tiles-told").textContent = said;
  };
  layer.on("loading", () => {
    failed = false;
  });
  layer.on("tileerror", () => {
    [failed, missing] = [true, true];
    tell();
  });
  layer.on("load", () => {
    missing = failed;
    tell();
  });
  layer.on("add remove", () => {
    layer.forget();
    missing = false;
    tell();
  });
  return { layer, tell };
}

/* On paper they are drawn as the ground is; those from afar lie below those from near. */
function paintTiles(context, frame) {
  if (!online) return;
  const places = [...online.layer.there].sort(([, a], [, b]) => a.z - b.z);
  for (const [picture, { x, y, z }] of places) {
    const side = CIRCUMFERENCE / 2 ** z;
    const west = (x * side - CIRCUMFERENCE / 2 - origin[0]) / step;
    const north = (CIRCUMFERENCE / 2 - y * side - origin[1]) / step;
    const across = (side / step) * frame.scale;
    context.drawImage(picture, west * frame.scale + frame.east, frame.north - north * frame.scale, across, across);
  }
}

function startTiles() {
  if (!tiles) return;
  const credit = make("div", { class: "credit", hidden: "" }, tiles.credit);
  control("bottomleft", credit);
  map.on("zoomend", online.tell);
  byId("ground-tiles").addEventListener("change", ({ target }) => {
    credit.hidden = !target.checked;
    if (target.checked) online.layer.addTo(map);
    else online.layer.remove();
  });
}

/* The switch, and what it means to press it. */
function tilesPart() {
  if (!tiles) return [];
  const input = make("input", { type: "checkbox", id: "ground-tiles", "aria-describedby": "tiles-why" });
  const label = make("label", { class: "ground", for: input.id }, input, make("span", {}, data.words.legend_tiles));
  const why = make("p", { id: "tiles-why" }, data.words.legend_tiles_told);
  return [make("div", { class: "online" }, label, why, make("p", { id: "tiles-told", role: "status" }))];
}
