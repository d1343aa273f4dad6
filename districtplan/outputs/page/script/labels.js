/*
Writes names of villages, and numbers that stand over plots, clear of one another.
*/

const LABEL_MAX = 28;
// Between a village's plots and its name, in pixels.
const NAME_ROOM = 4;
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

/* How far a label is from a village's plots, in pixels. */
function awayFrom({ start, end }, { min, max }, frame) {
  let least = Infinity;
  for (let place = start; place < end && least > 0; place++) {
    const px = dots.x[place] * frame.scale + frame.east;
    const py = frame.north - dots.y[place] * frame.scale;
    const across = Math.max(0, min.x - px, px - max.x);
    const along = Math.max(0, min.y - py, py - max.y);
    const away = Math.sqrt(across * across + along * along) - (dots.across[place] * frame.scale) / 2;
    if (away < least) least = away;
  }
  return Math.max(0, least);
}

/* Whether two boxes meet; written out, as each name is tried against all villages. */
const meet = (one, other, gap = 0) =>
  one.min.x - gap <= other.max.x && one.max.x + gap >= other.min.x && one.min.y - gap <= other.max.y && one.max.y + gap >= other.min.y;

/* Nearer to another village's plots it would be read as their name. */
function readAsOwn(at, box, frame, homes) {
  const own = awayFrom(villages[at], box, frame);
  return homes.every((home, other) => other === at || !meet(box, home, own) || awayFrom(villages[other], box, frame) > own);
}

/* Where a name may stand, best first: above its plots, below them, to the right, to the left. */
function spotsFor(home, [half, tall], view) {
  const { min, max } = home;
  const { x, y } = home.getCenter();
  const [left, right] = [min.x - half - NAME_ROOM, max.x + half + NAME_ROOM];
  const level = [y, max.y, min.y];
  const spots = [
    [x, min.y - tall - NAME_ROOM],
    [x, max.y + tall + NAME_ROOM],
    ...level.map((at) => [right, at]),
    ...level.map((at) => [left, at]),
  ];
  const boxes = spots.map((spot) => {
    // Not cut off by the edge of the map.
    const px = Math.max(view.min.x + half, Math.min(view.max.x - half, spot[0]));
    const py = Math.max(view.min.y + tall + 2, Math.min(view.max.y - tall - 2, spot[1]));
    return L.bounds([px - half, py - tall], [px + half, py + tall]);
  });
  // Plots that fill the map have their name on them.
  return [...boxes.filter((box) => !box.overlaps(home)), ...boxes.slice(0, 2)];
}

/* Village names; one that finds no place clear of others, of controls and of others' plots is left out. */
function writeVillages(context, frame, view, taken) {
  const homes = villages.map(({ west, east, top, bottom }) => {
    const [left, right] = [west, east].map((x) => x * frame.scale + frame.east);
    const [above, below] = [top, bottom].map((y) => frame.north - y * frame.scale);
    return L.bounds([left, above], [right, below]);
  });
  const look = { font: "600 15px system-ui, sans-serif", halo: 4, fill: PAPER, ink: INK };
  context.font = look.font;
  for (const at of labelOrder) {
    if (!homes[at].overlaps(view)) continue;
    const lines = villageLabel(villages[at], at).map(shortened);
    const half = Math.max(...lines.map((line) => context.measureText(line).width)) / 2 + 4;
    const clear = (box) => !taken.some((other) => meet(box, other));
    const spots = spotsFor(homes[at], [half, 10 * lines.length], view);
    const free = spots.find((box) => clear(box) && readAsOwn(at, box, frame, homes));
    if (!free) continue;
    // Room about each label keeps the map quiet.
    const room = named(at) === Infinity ? LABEL_GAP : 2;
    const gap = L.point(room, room);
    taken.push(L.bounds(free.min.subtract(gap), free.max.add(gap)));
    const { x, y } = free.getCenter();
    lines.forEach((line, row) => {
      write(context, line, x, y + 19 * (row - (lines.length - 1) / 2), look);
    });
  }
}

/* Places that numbers stand over, with these, in their order; null in views that have none. */
function rankedPlaces() {
  if (state.view === "first") return work.hills.map(({ plots: [[place]], rank }) => [place, rank]);
  return state.view === "teach" ? [...demoOf] : null;
}
