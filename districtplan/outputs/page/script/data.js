/*
What the page holds, unpacked: the JSON block "data", dots, villages; and what is asked of a plot.
A plot goes by its number i among those that are there, or by its place in the district.
*/

const METHODS = ["straight", "guide lines", "any direction", "measure on the ground"];
const [STRAIGHT, GUIDE, ANY, MEASURE] = METHODS;
const LEVELLED = "level lines";
const NO_CURVE = "level on the ground";

function planeOf(longitude, latitude) {
  const point = L.Projection.SphericalMercator.project(L.latLng(latitude, longitude));
  return [point.x, point.y];
}

const data = JSON.parse(document.getElementById("data").textContent);
const odd = new Map(data.odd);
const origin = planeOf(...data.frame.origin_deg);
const step = data.frame.step_m;
const { plots, add } = plotsOf({ origin, step, planeOf, origin_deg: data.frame.origin_deg });
const { shapes, guides, boundaries, curved, pegs, flow, inside, rowOf } = plots;
const loader = loaderOf({ folder: "map", nonce: data.nonce });
const totals = unpackNumbers(data.totals.numbers);
const sums = data.district && unpackNumbers(data.district.numbers);
const dots = unpackDots(data.dots);
const villages = unpackVillages(data.villages);
const starts = villages.map(({ start }) => start);
const finder = Search.finderOf(data.villages.names, async () => {
  const found = await loader.load("search");
  learn(found.odd);
  return found;
});

function unpackNumbers(numbers) {
  return Object.fromEntries(Object.entries(numbers).map(([name, column]) => [name, Packed.numbers(column)]));
}

/* A dot for each plot, by its place in the district: a point inside it and its size, in steps. */
function unpackDots(packed) {
  const times = packed.step_m / step;
  const { x, y } = Packed.points(packed.moves);
  return {
    x: x.map((east) => east * times),
    y: y.map((north) => north * times),
    across: Packed.naturals(packed.across).map((wide) => wide * times),
    number: Packed.naturals(packed.class).map((number) => number || null),
    bare: Packed.naturals(packed.bare),
  };
}

/* Villages, their plots' places from start to end; rows are those of their plots that are there. */
function unpackVillages({ names, plots: counts, by_bearing, boxes }) {
  const byBearing = Packed.naturals(by_bearing);
  const from = Packed.starts(Packed.naturals(counts));
  const edges = Packed.naturals(boxes).map(Packed.signed);
  return names.map((name, at) => {
    const [west, bottom, east, top] = edges.slice(4 * at, 4 * at + 4);
    return { at, name: brief(name), start: from[at], end: from[at + 1], rows: [], coming: null, byBearing: byBearing[at], west, east, top, bottom };
  });
}

/* The village that the plot of a place is of. */
function villageOf(place) {
  let [low, high] = [0, starts.length - 1];
  while (low < high) {
    const middle = Math.ceil((low + high) / 2);
    if (starts[middle] <= place) low = middle;
    else high = middle - 1;
  }
  return villages[low];
}

/* The number of the plot of a place; undefined until its village is there. */
function rowAt(place) {
  const village = villageOf(place);
  return village.rows[place - village.start];
}

function inNumbers(numbers, name, i) {
  return numbers[name]?.[i] ?? null;
}

const numberOf = (name, i) => inNumbers(plots.numbers, name, i);
const wordOf = (name, i) => plots.words[name][i];
const methodOf = (i) => plots.words.row_method[i];
const kindOf = (i) => plots.words.guide_kind[i];
const excluded = plots.notes.excluded;

// Not for beans, or an outlet for water comes first: nothing is laid out there.
const barred = (i) => plots.barred[i] === 1;

// Where no curve is drawn from the raster, someone must go and find the level, as where nothing
// is known.
const toFind = (i) => methodOf(i) === MEASURE || kindOf(i) === NO_CURVE;

const hasGuides = (i) => guides.of[i + 1] > guides.of[i] && !barred(i);
const classAt = new Map(data.classes.map((entry) => [entry.number, entry]));
const classAtPlace = (place) => classAt.get(dots.number[place]) || null;
const classOf = (i) => classAtPlace(plots.place[i]);
