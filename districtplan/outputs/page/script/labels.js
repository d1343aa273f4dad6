/*
Writes names of villages, and numbers that stand over plots, clear of one another.
*/

const LABEL_MAX = 28;
const RANK_RADIUS = 13;

/* Until plots are large enough for them, numbers stand over plots: each number over its first. */
function writeRanks(context, frame, view, ranked) {
  const taken = covered(view);
  for (const [place, number] of ranked) {
    const px = dots.x[place] * frame.scale + frame.east;
    const py = frame.north - dots.y[place] * frame.scale;
    const room = RANK_RADIUS + 1;
    const box = L.bounds([px - room, py - room], [px + room, py + room]);
    if (taken.some((other) => other.overlaps(box))) continue;
    taken.push(box);
    context.beginPath();
    context.arc(px, py, RANK_RADIUS, 0, 2 * Math.PI);
    Object.assign(context, { fillStyle: INK, strokeStyle: PAPER, lineWidth: 2 });
    context.fill();
    context.stroke();
    const look = { font: "700 15px system-ui, sans-serif", halo: 0.01, fill: INK, ink: PAPER };
    write(context, String(number), px, py + 1, look);
  }
  return taken;
}

function villageLabel(village, at) {
  if (state.view === "teach") {
    const { reached, farmers } = teachOf.get(at);
    return [village.name, say("demo_village_label", { reached: shown(reached), farmers: shown(farmers) })];
  }
  if (state.view === "rows") {
    const counts = { count: shown(village.byBearing), total: shown(sizeOfVillage(at)) };
    return [village.name, say("rows_village_label", counts)];
  }
  const seed = inNumbers(totals, "seed_g", at);
  const holes = inNumbers(totals, "holes", at);
  if (state.view !== "buy") return [village.name];
  if (seed !== null) return [village.name, `${say("seed")} ${say("kg", { kg: kilograms(seed) })}`];
  return [village.name, `${say("holes")} ${shown(holes)}`];
}

function shortened(text) {
  const signs = [...text];
  return signs.length > LABEL_MAX ? `${signs.slice(0, LABEL_MAX - 1).join("")}…` : text;
}

const sizeOfVillage = (at) => villages[at].end - villages[at].start;
const foremost = data.villages_named.map(brief);

// Villages that the finding names come first, then the largest.
const named = (at) => foremost.indexOf(villages[at].name) + 1 || Infinity;

const labelOrder = villages
  .map((_, at) => at)
  .sort((a, b) => named(a) - named(b) || sizeOfVillage(b) - sizeOfVillage(a));

/* Where buttons and scale lie over the map, in pixels of the canvas. */
function covered(view) {
  const corner = byId("map").getBoundingClientRect();
  const shift = view.min.subtract([corner.left, corner.top]);
  return [...document.querySelectorAll("#map .leaflet-control")]
    .filter((element) => element.getClientRects().length)
    .map((element) => element.getBoundingClientRect())
    .map((box) => L.bounds([box.left, box.top], [box.right, box.bottom]))
    .map((box) => L.bounds(box.min.add(shift), box.max.add(shift)));
}

/* Village names; one that would cover another, or a control, goes below its plots or is left out. */
function writeVillages(context, frame, size, view, taken) {
  const homes = villages.map(({ west, east, top, bottom }) => {
    const [left, right] = [west, east].map((x) => x * frame.scale + frame.east);
    const [above, below] = [top, bottom].map((y) => frame.north - y * frame.scale);
    return L.bounds([left, above], [right, below]);
  });
  const look = { font: "600 15px system-ui, sans-serif", halo: 4, fill: PAPER, ink: INK };
  context.font = look.font;
  for (const at of labelOrder) {
    const village = villages[at];
    const middle = village.middle * frame.scale + frame.east;
    const [top, bottom] = [village.top, village.bottom].map((y) => frame.north - y * frame.scale);
    if (middle < 0 || bottom < 0 || middle > size.x || top > size.y) continue;
    const lines = villageLabel(village, at).map(shortened);
    const half = Math.max(...lines.map((line) => context.measureText(line).width)) / 2 + 4;
    const tall = 10 * lines.length;
    // Not cut off by the edge of the map.
    const x = Math.max(view.min.x + half, Math.min(view.max.x - half, middle));
    const places = [top - tall - 4, bottom + tall + 4].map((y) => ({
      y: Math.max(view.min.y + tall + 2, Math.min(view.max.y - tall - 2, y)),
    }));
    for (const place of places) {
      place.box = L.bounds([x - half, place.y - tall], [x + half, place.y + tall]);
    }
    const clear = ({ box }) => !taken.some((other) => other.overlaps(box));
    // On another village's plots it would be read as their name.
    const own = ({ box }) => !homes.some((home, other) => other !== at && home.overlaps(box));
    const free = places.find((place) => clear(place) && own(place)) || (named(at) < Infinity && places.find(clear));
    if (!free) continue;
    // Room about each label keeps the map quiet.
    const room = named(at) === Infinity ? LABEL_GAP : 2;
    const gap = L.point(room, room);
    taken.push(L.bounds(free.box.min.subtract(gap), free.box.max.add(gap)));
    lines.forEach((line, row) => {
      write(context, line, x, free.y + 19 * (row - (lines.length - 1) / 2), look);
    });
  }
}

/* Places that numbers stand over, with these, in their order; null in views that have none. */
function rankedPlaces() {
  if (state.view === "first") return work.hills.map(({ plots: [[place]], rank }) => [place, rank]);
  return state.view === "teach" ? [...demoOf] : null;
}
