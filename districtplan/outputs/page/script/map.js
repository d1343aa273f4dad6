/*
The map itself: how it starts, what it is fitted to, what lies under a click.
*/

const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
const phone = window.matchMedia("(max-width: 900px)");

const map = L.map("map", {
  attributionControl: false,
  zoomControl: false,
  // Fine enough that what is fitted fills the map.
  zoomSnap: 0.1,
  zoomDelta: 1,
  minZoom: 3,
  maxZoom: 22,
  wheelPxPerZoomLevel: 90,
  zoomAnimation: !still,
  fadeAnimation: !still,
  inertia: !still,
});

const fields = new Drawing({ padding: 0.15, name: "fields", draw: drawFields });

function control(position, element) {
  L.DomEvent.disableClickPropagation(element);
  const Control = L.Control.extend({ onAdd: () => element });
  new Control({ position }).addTo(map);
}

/* Show some bounds, beside the buttons where the map has room for that. */
function fit(bounds) {
  const [beside, below] = phone.matches || printing() ? [24, 40] : [70, 64];
  map.fitBounds(bounds, { paddingTopLeft: [24, 40], paddingBottomRight: [beside, below], maxZoom: 18, animate: false });
  // Kept until someone moves the map: a map of another size then shows the same again.
  state.framed = bounds;
}

/* Bring the map into view: on a phone, what is pressed may stand far below it. */
function toMap() {
  byId("stage").scrollIntoView({ block: "nearest" });
}

function refit() {
  if (state.framed) fit(state.framed);
}

function startMap() {
  byId("map").setAttribute("aria-label", data.words.map);
  fit(boundsOfVillages(villages));
  // Below the plots, whatever is put there later.
  Object.assign(map.createPane("ground").style, { zIndex: 300, pointerEvents: "none" });
  ground.shade.addTo(map);
  map.setMaxBounds(boundsOfVillages(villages).extend(ground.shade.getBounds()).pad(2));
  map.setMinZoom(Math.max(3, Math.floor(map.getZoom()) - 2));
  const titles = { zoomInTitle: data.words.zoom_in, zoomOutTitle: data.words.zoom_out };
  L.control.zoom({ position: "topright", ...titles }).addTo(map);
  L.control.scale({ imperial: false, position: phone.matches ? "topleft" : "bottomright" }).addTo(map);
  const all = villages.length > 1 ? data.words.whole : data.words.whole_village;
  const whole = make("button", { type: "button", class: "whole" }, all);
  whole.addEventListener("click", leaveVillage);
  control(phone.matches ? "bottomright" : "bottomleft", whole);
  const hint = make("div", { class: "zoom-hint" }, data.words.zoom_hint);
  control("bottomright", hint);
  fields.on("drawn", ({ typical }) => {
    const said = { first: data.words.zoom_hint_first, teach: data.words.zoom_hint_teach };
    hint.textContent = said[state.view] || data.words.zoom_hint;
    if (state.view === "teach") hint.hidden = typical >= HALVES_FROM || !teach.sides.length;
    else hint.hidden = state.view === "visits" || typical >= ROWS_FROM;
  });
  // First the plots, then the ground: heights are written clear of names, which must stand by then.
  fields.addTo(map);
  showGround();
  startTiles();
  map.on("movestart", () => {
    state.framed = null;
  });
  map.on("resize", refit);
  map.on("click", (event) => openAt(event.latlng));
  byId("map").addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.target === byId("map")) openAt(map.getCenter());
  });
}

/* Open what is at a point: from afar its village, from near its plot. */
function openAt(latlng) {
  const place = placeAt(latlng);
  if (place === null) close();
  else if (villages.length > 1 && state.typical < SHAPE_FROM) openVillage(villageOf(place));
  else openPlace(place, byId("map"));
}

/* The place of the smallest plot under a point; failing that of the nearest within a finger's reach. */
function placeAt(latlng) {
  const [planeX, planeY] = planeOf(latlng.lng, latlng.lat);
  const [px, py] = [(planeX - origin[0]) / step, (planeY - origin[1]) / step];
  const reach = 14 / frameOf(map.getZoom(), L.point(0, 0)).scale;
  let best = null;
  let least = Infinity;
  let near = null;
  let distance = reach;
  for (const village of villages) {
    if (px < village.west - reach || px > village.east + reach) continue;
    if (py < village.bottom - reach || py > village.top + reach) continue;
    for (let place = village.start; place < village.end; place++) {
      const away = Math.hypot(dots.x[place] - px, dots.y[place] - py);
      if (away < distance) [near, distance] = [place, away];
      const i = village.rows[place - village.start];
      if (i === undefined || away > dots.across[place]) continue;
      const [west, south, east, north] = shapes.box.slice(4 * i, 4 * i + 4);
      const size = (east - west) * (north - south);
      if (size < least && holds(i, px, py)) [best, least] = [place, size];
    }
  }
  return best === null ? near : best;
}

function focusOn(i, level) {
  const box = boundsOf([i]);
  const zoom = Math.min(19, map.getBoundsZoom(box.pad(1.2)));
  const middle = latLngOf(inside[2 * i], inside[2 * i + 1]);
  map.setView(middle, level || Math.max(map.getZoom(), zoom), { animate: false });
}

function onScreen(latlng) {
  const point = map.latLngToContainerPoint(latlng);
  const corner = byId("map").getBoundingClientRect();
  return { x: corner.left + point.x, y: corner.top + point.y };
}
