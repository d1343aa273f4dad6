/*
The map of a page of districtplan. It reads the JSON block "data" and draws it; villages' plots it
loads when it is asked for them. All text that came from outside is shown by textContent or drawn
on a canvas.

For tests, and for people who script, the page offers window.districtplan:

  ready          true once the map is drawn
  settled()      gives a promise: all that was asked for is there and drawn
  plots          a promise of the ids of all plots, village by village
  placeOf(id, level)
                 closes the card, brings the plot to the middle of the map, large enough to be hit,
                 and gives a promise of {x, y}: the place on screen, in CSS pixels from the top left
                 corner of the window, of a point inside the plot; null if there is no such plot.
                 With a level, zooms to it: levels are those of web maps, up to 22, where a pixel is
                 some 4 cm and rows stand at their real distance
  open(id)       opens the plot's card; a promise, of false if there is no such plot
  close()        closes the card
  show(view)     "steep", "rows", "buy", "first" or, where demonstration plots are asked for, "teach", where agents are named, "visits"
  pointOf(longitude, latitude)
                 gives {x, y}: the place on screen of a point in degrees, WGS 84
  take(name, text)
                 is called by the scripts that are loaded

Plots are drawn on one canvas from columns: one map object a plot would not bear 100,000. A plot
goes by its number i among those that are there, or by its place in the district.
*/
"use strict";

(() => {
  const CIRCUMFERENCE = 2 * Math.PI * 6378137;
  const TILE = 256;
  // Square of the first eccentricity of the ellipsoid (WGS 84).
  const E2 = 0.00669437999014;
  const METHODS = ["straight", "guide lines", "any direction", "measure on the ground"];
  const [STRAIGHT, GUIDE, ANY, MEASURE] = METHODS;
  const INK = "#1d1408";
  const PAPER = "#fffdf8";
  const ACCENT = "#0b4a82";
  const WATER = "#1668b0";
  const CONTOUR = "#5c4c3a";
  const FADED = "#efe8da";
  const FADED_EDGE = "#b5a893";
  const CHUNK = 100;
  // Hillsides are read, not looked up: what to mind before anyone digs stands close below the first.
  const HILLS = 12;
  const FOUND_MAX = 20;
  // From this size on screen [pixels] a plot gets its shape, its edge, its rows, its number.
  const SHAPE_FROM = 3;
  const EDGE_FROM = 8;
  const ROWS_FROM = 10;
  const NUMBER_FROM = 26;
  const GUIDES_FROM = 60;
  const PEGS_FROM = 240;
  const PEG_RADIUS = 3.5;
  const LINE_GAP = { [STRAIGHT]: 6, [ANY]: 9 };
  // From this size on the plots themselves are loaded: smaller ones are told apart by no shape.
  const LOAD_FROM = 6;
  const DOT_SHARE = 0.8;
  const LABEL_GAP = 14;
  const LABEL_MAX = 28;
  const NAME_MAX = 120;
  const DOTS = [0.1, 8];
  // A guide line's direction holds near the middle only: half the length of its dash [pixels].
  const DASH_HALF_MAX = 26;
  const LEVELLED = "level lines";
  const NO_CURVE = "level on the ground";
  const GUIDE_WIDTH = 3;
  const LEVEL_DASH = [14, 4, 3, 4];
  const PART_DASH = [6, 4];
  const PART_WIDTH = 1.8;
  const FLOW_WIDTHS = [1.2, 5];
  const FLOW_DASH = [9, 5];
  const CROSS = "×";
  const WORK_WIDTH = 2.6;
  const ARROW = 7;
  const ARROWS_APART = 60;
  const RANK_RADIUS = 13;
  const HALVES_FROM = 90;
  const UNREACHED = 7;
  const REACH_FILL = "rgba(22, 104, 176, 0.10)";
  // What can be taken off the ground, in the order in which it lies.
  const GROUND = ["tint", "lines"];
  const BARE = "plain";
  const CURVE = { width: 380, height: 250, left: 64, right: 14, top: 26, bottom: 46, ticks: 4 };

  // ---------------------------------------------------------------- data

  function planeOf(longitude, latitude) {
    const point = L.Projection.SphericalMercator.project(L.latLng(latitude, longitude));
    return [point.x, point.y];
  }

  const data = JSON.parse(document.getElementById("data").textContent);
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
  const finder = Search.finderOf(data.villages.names, () => loader.load("search"));
  const work = data.work;
  const workLines = Packed.lines(work.lines);
  const waterways = Packed.lines(work.waterways);
  const outlets = Packed.lines(work.outlets);
  // Null where the plan asks for no demonstration plots.
  const teach = data.teach;
  // Null where the plan names no agents, and on pages of villages.
  const visits = data.visits;
  const VIEWS = ["steep", "rows", "buy", "first", ...(teach ? ["teach"] : []), ...(visits ? ["visits"] : [])];
  const routes = visits && Packed.lines(visits.routes);
  const agentOf = new Map(visits ? visits.plots : []);
  // The day whose route is drawn before all others, by its line.
  let dayShown = null;
  const demoShapes = teach && Object.fromEntries(
    ["reach", "people", "nets", "divides"].map((name) => [name, Packed.lines(teach[name])]),
  );
  // By place of a plot, its number as a demonstration plot; others' villages may be on another page.
  const demoOf = new Map(teach ? teach.plots.filter(({ place }) => place !== null).map(({ place, number }) => [place, number]) : []);
  // By place of a plot, that of its hillside in the order of work.
  const hillOf = new Map(work.hills.flatMap((hill, at) => hill.plots.map(([place]) => [place, at])));

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
  function unpackVillages({ names, plots: counts, boxes }) {
    const from = Packed.starts(Packed.naturals(counts));
    const edges = Packed.naturals(boxes).map(Packed.signed);
    return names.map((name, at) => {
      const [west, bottom, east, top] = edges.slice(4 * at, 4 * at + 4);
      const middle = (west + east) / 2;
      return { at, name: brief(name), start: from[at], end: from[at + 1], rows: [], coming: null, west, east, top, bottom, middle };
    });
  }

  /* A name as it is shown: one of thousands of signs would leave room for nothing else. */
  function brief(name) {
    const signs = [...name.slice(0, 2 * NAME_MAX)];
    return signs.length > NAME_MAX ? `${signs.slice(0, NAME_MAX - 1).join("")}…` : name;
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

  function say(key, values = {}) {
    return data.words[key].replace(/\{(\w+)\}/g, (_, name) => values[name]);
  }

  function inNumbers(numbers, name, i) {
    return numbers[name]?.[i] ?? null;
  }

  const numberOf = (name, i) => inNumbers(plots.numbers, name, i);
  const wordOf = (name, i) => plots.words[name][i];

  const formats = new Map();
  function shown(value, digits = 0) {
    if (!formats.has(digits)) {
      const exact = { minimumFractionDigits: digits, maximumFractionDigits: digits };
      formats.set(digits, new Intl.NumberFormat(data.language, exact));
    }
    return formats.get(digits).format(value);
  }

  /* The same rule as on paper: two decimals below 10 kg, one below 100 kg, none above. */
  function kilograms(grams) {
    return shown(grams / 1000, grams < 10000 ? 2 : grams < 100000 ? 1 : 0);
  }

  const methodOf = (i) => plots.words.row_method[i];
  const kindOf = (i) => plots.words.guide_kind[i];
  const excluded = plots.notes.excluded;
  // Not for beans, or an outlet for water comes first: nothing is laid out there.
  const barred = (i) => plots.barred[i] === 1;
  // Where no curve is drawn from the raster, someone must go and find the level, as where nothing
  // is known.
  const toFind = (i) => methodOf(i) === MEASURE || kindOf(i) === NO_CURVE;
  // Where to work, and who teaches, is shown alike on all plots.
  const plainly = () => ["first", "teach", "visits"].includes(state.view);
  const empty = (i) => toFind(i) && !plainly();
  const hasGuides = (i) => guides.of[i + 1] > guides.of[i] && !barred(i);
  const classAt = new Map(data.classes.map((entry) => [entry.number, entry]));
  const classAtPlace = (place) => classAt.get(dots.number[place]) || null;
  const classOf = (i) => classAtPlace(plots.place[i]);

  function latLngOf(x, y) {
    const plane = L.point(origin[0] + x * step, origin[1] + y * step);
    return L.Projection.SphericalMercator.unproject(plane);
  }

  function boundsOf(rows) {
    let [west, south, east, north] = [Infinity, Infinity, -Infinity, -Infinity];
    for (const i of rows) {
      west = Math.min(west, shapes.box[4 * i]);
      south = Math.min(south, shapes.box[4 * i + 1]);
      east = Math.max(east, shapes.box[4 * i + 2]);
      north = Math.max(north, shapes.box[4 * i + 3]);
    }
    return L.latLngBounds(latLngOf(west, south), latLngOf(east, north));
  }

  function boundsOfVillages(some) {
    let [west, south, east, north] = [Infinity, Infinity, -Infinity, -Infinity];
    for (const village of some) {
      west = Math.min(west, village.west);
      south = Math.min(south, village.bottom);
      east = Math.max(east, village.east);
      north = Math.max(north, village.top);
    }
    return L.latLngBounds(latLngOf(west, south), latLngOf(east, north));
  }

  /* What some plots of the district cover, by their places. */
  function boundsOfPlaces(places) {
    const corners = places.flatMap((place) => {
      const [x, y, half] = [dots.x[place], dots.y[place], dots.across[place] / 2];
      return [latLngOf(x - half, y - half), latLngOf(x + half, y + half)];
    });
    return L.latLngBounds(corners);
  }

  // ---------------------------------------------------------------- page

  const state = {
    view: "steep",
    village: null,
    open: null,
    opener: null,
    framed: null,
    typical: 0,
    filter: { class: null, from: null, to: null, flag: null, stage: null },
    ground: GROUND,
    kept: null,
    restoring: false,
    remembering: false,
  };
  const byId = (id) => document.getElementById(id);

  /* Make an element; children that are text become text nodes, whatever they hold. */
  function make(tag, attributes = {}, ...children) {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
      if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
      else element.setAttribute(name, value);
    }
    element.append(...children.filter((child) => child !== null));
    return element;
  }

  function listed(sentences) {
    return make("ul", {}, ...sentences.map((sentence) => make("li", {}, sentence)));
  }

  function fold(id, title, ...children) {
    byId(id).replaceChildren(
      make("summary", {}, title),
      make("div", { class: "inner" }, ...children),
    );
  }

  // ---------------------------------------------------------------- drawing

  /* How steps become pixels of a canvas: x * scale + east, north - y * scale. */
  function frameOf(zoom, corner) {
    const scale = ((TILE * 2 ** zoom) / CIRCUMFERENCE) * step;
    const world = TILE * 2 ** zoom;
    return {
      scale,
      east: (origin[0] / CIRCUMFERENCE + 0.5) * world - corner.x,
      north: (0.5 - origin[1] / CIRCUMFERENCE) * world - corner.y,
    };
  }

  function sizeOf(i, frame) {
    const box = shapes.box;
    const across = Math.max(box[4 * i + 2] - box[4 * i], box[4 * i + 3] - box[4 * i + 1]);
    return across * frame.scale;
  }

  function trace(context, i, frame) {
    const { rings, vertices, x, y } = shapes;
    for (let ring = rings[i]; ring < rings[i + 1]; ring++) {
      for (let at = vertices[ring]; at < vertices[ring + 1]; at++) {
        const px = x[at] * frame.scale + frame.east;
        const py = frame.north - y[at] * frame.scale;
        if (at === vertices[ring]) context.moveTo(px, py);
        else context.lineTo(px, py);
      }
      context.closePath();
    }
  }

  /* Where lines through the inside point of a plot lie, to the right of their bearing. */
  function middleOf(i, bearing) {
    return inside[2 * i] * Math.cos(bearing) - inside[2 * i + 1] * Math.sin(bearing);
  }

  /*
  Cut parallel lines by an outline, one line a time. Lines lie start + gap * n steps to the right of
  the bearing: with every n, or only from 0 on.
  */
  function cut(outline, bearing, { start, gap, from = -Infinity }, draw) {
    const { rings, vertices, x, y, i } = outline;
    const [sine, cosine] = [Math.sin(bearing), Math.cos(bearing)];
    const crossings = new Map();
    for (let ring = rings[i]; ring < rings[i + 1]; ring++) {
      const [first, last] = [vertices[ring], vertices[ring + 1] - 1];
      for (let at = first, before = last; at <= last; before = at++) {
        const across = (x[at] * cosine - y[at] * sine - start) / gap;
        const acrossBefore = (x[before] * cosine - y[before] * sine - start) / gap;
        const [low, high] = [Math.min(across, acrossBefore), Math.max(across, acrossBefore)];
        const along = x[at] * sine + y[at] * cosine;
        const alongBefore = x[before] * sine + y[before] * cosine;
        // Half-open, so that a corner on a line counts once.
        for (let line = Math.max(from, Math.ceil(low)); line < high; line++) {
          const share = (line - acrossBefore) / (across - acrossBefore);
          if (!crossings.has(line)) crossings.set(line, []);
          crossings.get(line).push(alongBefore + share * (along - alongBefore));
        }
      }
    }
    for (const [line, places] of crossings) {
      places.sort((one, other) => one - other);
      const v = line * gap + start;
      for (let at = 0; at + 1 < places.length; at += 2) {
        const [from, to] = [places[at], places[at + 1]];
        const [east, north] = [v * cosine, -v * sine];
        draw(from * sine + east, from * cosine + north, to * sine + east, to * cosine + north);
      }
    }
  }

  /* Add one short dash about a plot's inside point, within its outline. */
  function traceDash(context, i, frame) {
    const angle = (numberOf("row_bearing_true_deg", i) * Math.PI) / 180;
    const [sine, cosine] = [Math.sin(angle), Math.cos(angle)];
    const here = inside[2 * i] * sine + inside[2 * i + 1] * cosine;
    // So wide a gap that only the line through the inside point is cut.
    const only = { start: middleOf(i, angle), gap: Number.MAX_SAFE_INTEGER };
    cut({ ...shapes, i }, angle, only, (x1, y1, x2, y2) => {
      const room = Math.min(here - (x1 * sine + y1 * cosine), x2 * sine + y2 * cosine - here);
      if (room <= 0) return;
      const half = Math.min(0.6 * room * frame.scale, DASH_HALF_MAX);
      const x = inside[2 * i] * frame.scale + frame.east;
      const y = frame.north - inside[2 * i + 1] * frame.scale;
      context.moveTo(x - half * sine, y + half * cosine);
      context.lineTo(x + half * sine, y - half * cosine);
    });
  }

  /*
  A direction on the ground and the distance across it, on the plane: the plane is that of a sphere,
  the ground that of an ellipsoid, and a metre to the north is drawn up to 0.7 % longer than one to
  the east. Gives the bearing on the plane and steps a metre.
  */
  function onPlane(i, bearing) {
    const latitude = (numberOf("latitude_deg", i) * Math.PI) / 180;
    const flat = 1 - E2 * Math.sin(latitude) ** 2;
    const east = Math.sqrt(flat) / Math.cos(latitude) / step;
    const north = flat ** 1.5 / (1 - E2) / Math.cos(latitude) / step;
    const [x, y] = [Math.sin(bearing) * east, Math.cos(bearing) * north];
    return [Math.atan2(x, y), (east * north) / Math.hypot(x, y)];
  }

  /* Land that is planted: the outline but for margins and what takes land. */
  function plantedOf(i) {
    return plots.landOf.has(i) ? { ...plots.land, i: plots.landOf.get(i) } : { ...shapes, i };
  }

  /* The outermost place of an outline to one side of a bearing: rows are counted from there. */
  function outermost({ rings, vertices, x, y, i }, bearing, side) {
    const [sine, cosine] = [Math.sin(bearing), Math.cos(bearing)];
    let least = Infinity;
    for (let at = vertices[rings[i]]; at < vertices[rings[i + 1]]; at++) {
      least = Math.min(least, side * (x[at] * cosine - y[at] * sine));
    }
    return side * least;
  }

  const thinning = (kind, pixels) => 2 ** Math.max(0, Math.ceil(Math.log2(LINE_GAP[kind] / pixels)));

  /*
  Add a plot's straight rows of one crop to a path: rows as they are laid, from the outermost on,
  thinned by powers of two to what the eye can part. The first row stays where it is.
  */
  function traceRows(context, i, frame, crop) {
    const [bearing, metre] = onPlane(i, (numberOf("row_bearing_true_deg", i) * Math.PI) / 180);
    const { apart, families } = plots;
    // Steps on the map for a metre on the ground, down the slope.
    const step = (metre * numberOf("row_spacing_map_m", i)) / apart;
    const outline = plantedOf(i);
    const side = plots.rightwards[i] ? 1 : -1;
    const edge = outermost(outline, bearing, side);
    const parted = apart * step * frame.scale >= LINE_GAP[STRAIGHT];
    const beans = families.find((family) => family.crop === "beans");
    for (const family of parted ? families : [beans]) {
      if (family.crop !== crop) continue;
      const gap = side * family.spacing_m * step;
      const thinned = thinning(STRAIGHT, Math.abs(gap) * frame.scale);
      const lines = { start: edge + side * family.first_m * step, gap: gap * thinned, from: 0 };
      cut(outline, bearing, lines, lineTo(context, frame));
    }
  }

  /* Add a plot's rows along guide lines of one crop to a path, thinned as straight ones are. */
  function traceCurved(context, i, frame, crop) {
    const [, metre] = onPlane(i, Math.PI / 2);
    const pixels = metre * numberOf("row_spacing_map_m", i) * curved.every * frame.scale;
    const thinned = thinning(STRAIGHT, pixels);
    for (let line = curved.of[i]; line < curved.of[i + 1]; line++) {
      if (curved.place[line] % thinned || (curved.maize[line] === 1) !== (crop === "maize")) continue;
      traceLine(context, curved, line, frame);
    }
  }

  /* Lines of dots that run anywhere: no direction is meant. */
  function traceDots(context, i, frame) {
    const [bearing, metre] = onPlane(i, Math.PI / 2);
    const gap = metre * plots.apart;
    const lines = { start: middleOf(i, bearing), gap: gap * thinning(ANY, gap * frame.scale) };
    cut({ ...shapes, i }, bearing, lines, lineTo(context, frame));
  }

  function lineTo(context, frame) {
    return (x1, y1, x2, y2) => {
      context.moveTo(x1 * frame.scale + frame.east, frame.north - y1 * frame.scale);
      context.lineTo(x2 * frame.scale + frame.east, frame.north - y2 * frame.scale);
    };
  }

  function traceLine(context, { vertices, x, y }, line, frame) {
    for (let at = vertices[line]; at < vertices[line + 1]; at++) {
      const [px, py] = [x[at] * frame.scale + frame.east, frame.north - y[at] * frame.scale];
      if (at === vertices[line]) context.moveTo(px, py);
      else context.lineTo(px, py);
    }
  }

  /* Whether a plot's guide lines are drawn, and not the dash that stands for them. */
  const guided = (i, frame) => hasGuides(i) && sizeOf(i, frame) >= GUIDES_FROM;

  const dashed = (i, frame) => methodOf(i) === GUIDE && !barred(i) && !toFind(i) && !guided(i, frame);

  /* The look of a plot where plots are shown alike but for those that are chosen. */
  function lookAtPlace(place) {
    const chosen = { first: [hillOf, work], teach: [demoOf, teach], visits: [agentOf, visits] };
    const [some, { look }] = chosen[state.view];
    return some.has(place) ? look : data.plain;
  }

  function lookOf(i) {
    if (plainly()) return lookAtPlace(plots.place[i]);
    const found = state.view === "steep" ? classOf(i) : null;
    return found || data.plain;
  }

  function fillPlots(context, rows, frame) {
    for (const i of rows) {
      // One path a plot: in a common one, plots that overlap would blot each other out.
      context.beginPath();
      trace(context, i, frame);
      // Lines of equal height must not be taken for rows of a plot that has none yet.
      context.fillStyle = empty(i) ? PAPER : lookOf(i).fill;
      context.fill("evenodd");
    }
  }

  function strokeAll(context, rows, frame, line) {
    context.beginPath();
    for (const i of rows) trace(context, i, frame);
    context.lineWidth = line.width;
    context.strokeStyle = line.colour;
    context.setLineDash(line.dash || []);
    context.lineCap = "butt";
    context.stroke();
    context.setLineDash([]);
  }

  function strokeEdges(context, rows, frame) {
    const sized = rows.filter((i) => sizeOf(i, frame) >= EDGE_FROM);
    const beyond = sized.filter((i) => plots.beyond[i] && sizeOf(i, frame) >= ROWS_FROM);
    const unknown = sized.filter(empty);
    const solid = sized.filter((i) => !empty(i));
    const small = sized.length > 0 && sizeOf(sized[sized.length >> 1], frame) < NUMBER_FROM;
    strokeAll(context, solid, frame, { width: small ? 0.6 : 1, colour: INK });
    strokeAll(context, unknown, frame, { width: small ? 2 : 3.5, colour: PAPER });
    strokeAll(context, unknown, frame, { width: small ? 1 : 1.6, colour: INK, dash: small ? [3, 3] : [5, 4] });
    if (state.view !== "steep") return;
    // Two edges: a broad dark line with a light one along its middle.
    strokeAll(context, beyond, frame, { width: 5, colour: INK });
    strokeAll(context, beyond, frame, { width: 1.8, colour: PAPER });
  }

  /* Stroke what a function adds to the path for each plot, by the ink that its fill asks for. */
  function strokeInks(context, rows, style, add) {
    for (const ink of new Set(rows.map((i) => lookOf(i).ink))) {
      context.beginPath();
      for (const i of rows) if (lookOf(i).ink === ink) add(i);
      Object.assign(context, { lineWidth: style.width, lineCap: style.cap || "butt", strokeStyle: ink });
      context.setLineDash(style.dash || []);
      context.stroke();
    }
    context.setLineDash([]);
  }

  function strokeRows(context, rows, frame) {
    const sized = rows.filter((i) => sizeOf(i, frame) >= ROWS_FROM && !barred(i));
    const straight = sized.filter((i) => methodOf(i) === STRAIGHT && numberOf("row_bearing_true_deg", i) !== null);
    const thin = state.view === "rows" ? 1.2 : 0.9;
    const drawn = sized.filter((i) => guided(i, frame));
    for (const [crop, width] of [["beans", thin], ["maize", 2.5 * thin]]) {
      strokeInks(context, straight, { width }, (i) => traceRows(context, i, frame, crop));
      strokeInks(context, drawn, { width }, (i) => traceCurved(context, i, frame, crop));
    }
    const any = sized.filter((i) => methodOf(i) === ANY);
    strokeInks(context, any, { width: 2, cap: "round", dash: DOTS }, (i) => traceDots(context, i, frame));
    const short = sized.filter((i) => dashed(i, frame));
    strokeInks(context, short, { width: GUIDE_WIDTH }, (i) => traceDash(context, i, frame));
    for (const dash of [[], LEVEL_DASH]) {
      const alike = drawn.filter((i) => (kindOf(i) === LEVELLED) === dash.length > 0);
      strokeInks(context, alike, { width: GUIDE_WIDTH, dash }, (i) => {
        for (let line = guides.of[i]; line < guides.of[i + 1]; line++) traceLine(context, guides, line, frame);
      });
    }
    strokeInks(context, drawn, { width: PART_WIDTH, dash: PART_DASH }, (i) => {
      for (let line = boundaries.of[i]; line < boundaries.of[i + 1]; line++) traceLine(context, boundaries, line, frame);
    });
  }

  /* From the least area that makes a line on, a third wider each time it grows threefold. */
  function flowWidth(area) {
    const least = Math.min(...flow.area.slice(-1)) || 1;
    return Math.min(FLOW_WIDTHS[1], FLOW_WIDTHS[0] * (Math.max(1, area / least) ** 0.25));
  }

  /* Water, over a light edge, so that it is seen on dark land too. */
  function strokeFlow(context, frame, size) {
    context.lineCap = "butt";
    context.lineJoin = "round";
    flow.area.forEach((area, line) => {
      if (!crosses(flow, line, frame, size)) return;
      context.beginPath();
      traceLine(context, flow, line, frame);
      context.lineWidth = flowWidth(area) + 2;
      context.strokeStyle = PAPER;
      context.stroke();
      context.setLineDash(flow.least[line] ? FLOW_DASH : []);
      context.lineWidth = flowWidth(area);
      context.strokeStyle = WATER;
      context.stroke();
      context.setLineDash([]);
    });
  }

  /* Whether the box around a line meets the canvas. */
  function crosses(lines, line, frame, size) {
    let [left, top, right, bottom] = [Infinity, Infinity, -Infinity, -Infinity];
    for (let at = lines.vertices[line]; at < lines.vertices[line + 1]; at++) {
      const [px, py] = [lines.x[at] * frame.scale + frame.east, frame.north - lines.y[at] * frame.scale];
      [left, right] = [Math.min(left, px), Math.max(right, px)];
      [top, bottom] = [Math.min(top, py), Math.max(bottom, py)];
    }
    return left < size.x && right > 0 && top < size.y && bottom > 0;
  }

  /* One line over another, the light one first: seen on any ground. */
  function strokeOver(context, add, strokes) {
    for (const { width, colour, dash } of strokes) {
      context.beginPath();
      add();
      Object.assign(context, { lineWidth: width, strokeStyle: colour, lineCap: "butt", lineJoin: "round" });
      context.setLineDash(dash || []);
      context.stroke();
    }
    context.setLineDash([]);
  }

  const OUTLET_LOOK = [{ width: 11, colour: PAPER }, { width: 9, colour: WATER, dash: [2, 4] }, { width: 2, colour: WATER }];
  const DUG_LOOK = [{ width: 9, colour: PAPER }, { width: 7, colour: INK }, { width: 3, colour: PAPER }];
  const WORK_LOOK = [{ width: WORK_WIDTH + 2.4, colour: PAPER }, { width: WORK_WIDTH, colour: INK }];

  /* Lines of measures, waterways to dig and outlets that are there. */
  function strokeWork(context, frame, size) {
    const each = (lines, look) => {
      for (let line = 0; line + 1 < lines.vertices.length; line++) {
        if (!crosses(lines, line, frame, size)) continue;
        strokeOver(context, () => traceLine(context, lines, line, frame), look);
      }
    };
    each(outlets, OUTLET_LOOK);
    each(waterways, DUG_LOOK);
    each(workLines, WORK_LOOK);
    work.lines.carries.forEach((carries, line) => {
      if (carries && crosses(workLines, line, frame, size)) pointArrows(context, workLines, line, frame);
    });
  }

  /* Arrows along a line, the way that it is drawn: to its outlet. */
  function pointArrows(context, { vertices, x, y }, line, frame) {
    let since = ARROWS_APART / 2;
    for (let at = vertices[line] + 1; at < vertices[line + 1]; at++) {
      const [x1, y1] = [x[at - 1] * frame.scale + frame.east, frame.north - y[at - 1] * frame.scale];
      const [x2, y2] = [x[at] * frame.scale + frame.east, frame.north - y[at] * frame.scale];
      const length = Math.hypot(x2 - x1, y2 - y1);
      since += length;
      if (since < ARROWS_APART && at + 1 < vertices[line + 1]) continue;
      since = 0;
      if (length) arrow(context, x2, y2, (x2 - x1) / length, (y2 - y1) / length);
    }
  }

  function arrow(context, x, y, east, south) {
    context.beginPath();
    context.moveTo(x, y);
    for (const side of [1, -1]) {
      context.lineTo(x - ARROW * (1.6 * east - side * south), y - ARROW * (1.6 * south + side * east));
    }
    context.closePath();
    Object.assign(context, { fillStyle: INK, strokeStyle: PAPER, lineWidth: 1.2 });
    context.fill();
    context.stroke();
  }

  /* As far as farmers come to each demonstration plot, below all else. */
  function fillReach(context, frame) {
    const { reach } = demoShapes;
    for (let line = 0; line + 1 < reach.vertices.length; line++) {
      context.beginPath();
      traceLine(context, reach, line, frame);
      Object.assign(context, { fillStyle: REACH_FILL, strokeStyle: ACCENT, lineWidth: 2 });
      context.fill();
      context.stroke();
    }
  }

  /* Farmers who have no demonstration plot in reach. */
  function markUnreached(context, frame) {
    const { x, y } = demoShapes.people;
    Object.assign(context, { fillStyle: INK, strokeStyle: PAPER, lineWidth: 1.4 });
    for (let at = 0; at < x.length; at++) {
      const [px, py] = [x[at] * frame.scale + frame.east, frame.north - y[at] * frame.scale];
      context.fillRect(px - UNREACHED / 2, py - UNREACHED / 2, UNREACHED, UNREACHED);
      context.strokeRect(px - UNREACHED / 2, py - UNREACHED / 2, UNREACHED, UNREACHED);
    }
  }

  const ROUTE_LOOK = [{ width: 3, colour: PAPER }, { width: 1.2, colour: INK }];
  const SHOWN_LOOK = [{ width: 9, colour: PAPER }, { width: 5, colour: ACCENT }];

  /* The way of each day, straight from stop to stop; the one that is shown last, with arrows. */
  function strokeRoutes(context, frame, size) {
    for (let line = 0; line + 1 < routes.vertices.length; line++) {
      if (line === dayShown || dayShown !== null || !crosses(routes, line, frame, size)) continue;
      strokeOver(context, () => traceLine(context, routes, line, frame), ROUTE_LOOK);
    }
    if (dayShown === null) return;
    strokeOver(context, () => traceLine(context, routes, dayShown, frame), SHOWN_LOOK);
    pointArrows(context, routes, dayShown, frame);
  }

  const NET_LOOK = [{ width: 3, colour: PAPER }, { width: 1.6, colour: INK, dash: [5, 3] }];

  /* Halves of demonstration plots: the one with the message, net plots, what lies between. */
  function strokeHalves(context, frame, size) {
    const each = (lines, look) => {
      for (let line = 0; line + 1 < lines.vertices.length; line++) {
        if (!crosses(lines, line, frame, size)) continue;
        strokeOver(context, () => traceLine(context, lines, line, frame), look);
      }
    };
    each(demoShapes.divides, DUG_LOOK);
    each(demoShapes.nets, NET_LOOK);
    teach.sides.forEach((side, at) => nameHalves(context, frame, side, at));
  }

  /* Over its net plot, what each half is; net plots come left and right, looking uphill. */
  function nameHalves(context, frame, side, at) {
    const { vertices, x, y } = demoShapes.nets;
    const look = { font: "700 15px system-ui, sans-serif", halo: 5, ...teach.look };
    ["left", "right"].forEach((half, which) => {
      const [from, to] = [vertices[2 * at + which], vertices[2 * at + which + 1]];
      const px = (x.subarray(from, to).reduce((sum, value) => sum + value, 0) / (to - from)) * frame.scale;
      const top = frame.north - Math.max(...y.subarray(from, to)) * frame.scale;
      const words = half === side ? data.words.demo_shows_it : data.words.demo_as_usual;
      const across = x.subarray(from, to);
      const room = 2 * (Math.max(...across) - Math.min(...across)) * frame.scale;
      context.font = look.font;
      // Wider than its half it would lie over the other's.
      if (context.measureText(words).width > room) return;
      write(context, words, px + frame.east, top - LABEL_GAP, look);
    });
  }

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

  function write(context, text, x, y, look) {
    context.font = look.font;
    context.textAlign = "center";
    context.textBaseline = "middle";
    context.lineJoin = "round";
    context.lineWidth = look.halo;
    context.strokeStyle = look.fill;
    context.strokeText(text, x, y);
    context.fillStyle = look.ink;
    context.fillText(text, x, y);
  }

  const rankOf = (place) => (hillOf.has(place) ? String(work.hills[hillOf.get(place)].rank) : null);

  /* What stands in a plot: a number, or a cross on land that is not for beans. */
  function markOf(i) {
    if (state.view === "first") return rankOf(plots.place[i]);
    if (state.view === "teach") return demoOf.has(plots.place[i]) ? String(demoOf.get(plots.place[i])) : null;
    if (state.view === "visits") return agentOf.has(plots.place[i]) ? String(agentOf.get(plots.place[i])) : null;
    if (state.view !== "steep") return excluded[i] === null ? null : CROSS;
    const found = classOf(i);
    return found && String(found.number);
  }

  /* At the inside point; beside a dash or a guide line, not on it, where the plot has room. */
  function placeOfMark(i, away) {
    const [x, y] = [inside[2 * i], inside[2 * i + 1]];
    if (plainly()) return [x, y];
    if (methodOf(i) !== GUIDE || barred(i) || toFind(i)) return [x, y];
    const angle = (numberOf("row_bearing_true_deg", i) * Math.PI) / 180;
    const [east, north] = [Math.cos(angle) * away, -Math.sin(angle) * away];
    return [[x + east, y + north], [x - east, y - north]].find((place) => holds(i, ...place)) || [x, y];
  }

  function writeMarks(context, rows, frame) {
    for (const i of rows) {
      const size = sizeOf(i, frame);
      const mark = markOf(i);
      if (mark === null || size < NUMBER_FROM) continue;
      const height = Math.max(13, Math.min(22, size / 4)) * (mark === CROSS ? 1.4 : 1);
      const bare = empty(i);
      const look = {
        font: `700 ${height}px system-ui, sans-serif`,
        halo: 6,
        fill: bare ? PAPER : lookOf(i).fill,
        ink: bare ? INK : lookOf(i).ink,
      };
      const [x, y] = placeOfMark(i, height / frame.scale);
      write(context, mark, x * frame.scale + frame.east, frame.north - y * frame.scale, look);
    }
  }

  const pegsOf = (i) => (barred(i) ? 0 : pegs.vertices[i + 1] - pegs.vertices[i]);

  /* Control pegs, numbered as on the sheet; a number that would cover the last one is left out. */
  function markPegs(context, rows, frame) {
    for (const i of rows) {
      if (!pegsOf(i) || sizeOf(i, frame) < PEGS_FROM) continue;
      const look = { font: "700 13px system-ui, sans-serif", halo: 4, fill: PAPER, ink: INK };
      let last = null;
      for (let at = pegs.vertices[i]; at < pegs.vertices[i + 1]; at++) {
        const [px, py] = [pegs.x[at] * frame.scale + frame.east, frame.north - pegs.y[at] * frame.scale];
        context.beginPath();
        context.arc(px, py, PEG_RADIUS, 0, 2 * Math.PI);
        Object.assign(context, { fillStyle: PAPER, strokeStyle: INK, lineWidth: 1.8 });
        context.fill();
        context.stroke();
        if (last !== null && Math.hypot(px - last[0], py - last[1]) < 2 * LABEL_GAP) continue;
        last = [px, py];
        write(context, String(at - pegs.vertices[i] + 1), px, py - LABEL_GAP, look);
      }
    }
  }

  const teachOf = new Map(teach ? teach.villages.map((told) => [told.at, told]) : []);

  function villageLabel(village, at) {
    if (state.view === "teach") {
      const { reached, farmers } = teachOf.get(at);
      return [village.name, say("demo_village_label", { reached: shown(reached), farmers: shown(farmers) })];
    }
    const seed = inNumbers(totals, "seed_g", at);
    const holes = inNumbers(totals, "holes", at);
    if (state.view !== "buy") return [village.name];
    if (seed !== null) return [village.name, `${say("seed")} ${say("kg", { kg: kilograms(seed) })}`];
    return [village.name, `${say("holes")} ${shown(holes)}`];
  }

  function shortened(text) {
    return text.length > LABEL_MAX ? `${text.slice(0, LABEL_MAX - 1)}…` : text;
  }

  const sizeOfVillage = (at) => villages[at].end - villages[at].start;

  const foremost = data.villages_named.map(brief);

  // Villages that the finding names come first, then the largest.
  const named = (at) => foremost.indexOf(villages[at].name) + 1 || Infinity;
  const labelOrder = villages
    .map((_, at) => at)
    .sort((a, b) => named(a) - named(b) || sizeOfVillage(b) - sizeOfVillage(a));

  /* Where buttons, scale and legend lie over the map, in pixels of the canvas. */
  function covered(view) {
    const corner = byId("map").getBoundingClientRect();
    const shift = view.min.subtract([corner.left, corner.top]);
    return [...document.querySelectorAll("#map .leaflet-control, #legend")]
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

  function inView({ west, east, top, bottom }, frame, size) {
    return (
      west * frame.scale + frame.east < size.x &&
      east * frame.scale + frame.east > 0 &&
      frame.north - top * frame.scale < size.y &&
      frame.north - bottom * frame.scale > 0
    );
  }

  function seen(i, frame, size) {
    const [west, bottom, east, top] = shapes.box.slice(4 * i, 4 * i + 4);
    return inView({ west, east, top, bottom }, frame, size);
  }

  /* How large plots in view are on screen, on average. */
  function typicalOf(near, frame, size) {
    let [sum, number] = [0, 0];
    for (const { start, end } of near) {
      for (let place = start; place < end; place++) {
        const [px, py] = [dots.x[place] * frame.scale + frame.east, frame.north - dots.y[place] * frame.scale];
        const half = (dots.across[place] * frame.scale) / 2;
        if (px < -half || py < -half || px > size.x + half || py > size.y + half) continue;
        sum += dots.across[place];
        number += 1;
      }
    }
    return number ? (sum / number) * frame.scale : 0;
  }

  /* Plots that a filter leaves out: there, and no more. */
  function fade(context, rows, frame) {
    for (const i of rows) {
      context.beginPath();
      trace(context, i, frame);
      context.fillStyle = FADED;
      context.fill("evenodd");
    }
    if (rows.length) strokeAll(context, rows, frame, { width: 0.6, colour: FADED_EDGE });
  }

  function dotFill(place) {
    if (faded(place)) return FADED;
    if (plainly()) return lookAtPlace(place).fill;
    // From afar, how steep land is tells more than that its rows aren't known.
    if (dots.bare[place] && state.view !== "steep") return PAPER;
    return ((state.view === "steep" && classAtPlace(place)) || data.plain).fill;
  }

  /*
  Plots whose own shape isn't there, or is too small to be seen: a square of their size. What a filter
  leaves out comes first, so that it covers nothing.
  */
  function drawDots(context, some, frame) {
    const byFill = new Map([[FADED, []]]);
    for (const { start, end } of some) {
      for (let place = start; place < end; place++) {
        const fill = dotFill(place);
        if (!byFill.has(fill)) byFill.set(fill, []);
        byFill.get(fill).push(place);
      }
    }
    const put = some.length && state.typical < SHAPE_FROM && !printing() ? pixelsOf(context) : null;
    for (const [fill, places] of byFill) {
      context.fillStyle = fill;
      const colour = put && put.colourOf(fill);
      for (const place of places) {
        const size = Math.max(1.5, DOT_SHARE * dots.across[place] * frame.scale);
        const px = dots.x[place] * frame.scale + frame.east - size / 2;
        const py = frame.north - dots.y[place] * frame.scale - size / 2;
        if (put) put.square(px, py, size, colour);
        else context.fillRect(px, py, size, size);
      }
    }
    if (put) put.done();
  }

  /* Squares set pixel by pixel, before all else: 100,000 would keep the canvas's own way too long. */
  function pixelsOf(context) {
    const { width, height } = context.canvas;
    const dense = context.getTransform().a;
    const image = context.createImageData(width, height);
    const pixels = new Uint32Array(image.data.buffer);
    return {
      colourOf: (fill) => new Uint32Array(Uint8Array.of(...[1, 3, 5].map((at) => parseInt(fill.slice(at, at + 2), 16)), 255).buffer)[0],
      square(x, y, size, colour) {
        const side = Math.max(1, Math.round(size * dense));
        const [left, top] = [Math.round(x * dense), Math.round(y * dense)];
        for (let row = Math.max(0, top); row < Math.min(height, top + side); row++) {
          pixels.fill(colour, row * width + Math.max(0, left), row * width + Math.max(0, Math.min(width, left + side)));
        }
      },
      done: () => context.putImageData(image, 0, 0),
    };
  }

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
    const taken = ranked && typical < NUMBER_FROM ? writeRanks(context, frame, view, ranked) : covered(view);
    // The heading of a page of one village names it, and its finding says the rest.
    if (villages.length > 1 && (typical < 2 * NUMBER_FROM || state.view === "buy")) writeVillages(context, frame, size, view, taken);
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

  const printing = () => document.body.classList.contains("printing");

  function drawFields(context, frame, size, view) {
    if (printing()) paintGround(context, frame, size, view);
    drawPlots(context, frame, size, view);
    fields.fire("drawn", { typical: state.typical });
    if (state.typical >= LOAD_FROM) want(villages.filter((village) => inView(village, frame, size)));
  }

  const heights = heightsOf({
    told: data.heights,
    step,
    load: () => tracked(loader.load("heights")),
    redraw: () => map.hasLayer(contours) && contours._update(),
    missed,
    style: { colour: CONTOUR, label: { font: "600 13px system-ui, sans-serif", halo: 3, fill: PAPER, ink: CONTOUR } },
    write,
    worded: (height) => say("height_value", { m: shown(height) }),
  });

  /*
  On paper the ground is drawn below the plots on their own canvas: one that is drawn anew for
  printing is printed as opaque, and would hide whatever lies below it.
  */
  function paintGround(context, frame, size, view) {
    context.fillStyle = getComputedStyle(byId("map")).backgroundColor;
    context.fillRect(0, 0, size.x, size.y);
    const [west, south, east, north] = data.ground.bounds_deg;
    const [left, bottom] = planeOf(west, south).map((at, axis) => (at - origin[axis]) / step);
    const [right, top] = planeOf(east, north).map((at, axis) => (at - origin[axis]) / step);
    for (const picture of [ground.tint, ground.shade]) {
      if (!picture || !map.hasLayer(picture)) continue;
      context.globalAlpha = picture.options.opacity;
      const [x, y] = [left * frame.scale + frame.east, frame.north - top * frame.scale];
      context.drawImage(picture.getElement(), x, y, (right - left) * frame.scale, (top - bottom) * frame.scale);
    }
    context.globalAlpha = 1;
    if (map.hasLayer(contours)) heights.draw(context, frame, size, view);
  }

  function drawHeights(context, frame, size, view) {
    const apart = heights.draw(context, frame, size, view);
    const told = byId("heights-apart");
    if (told && apart !== null && apart < Infinity) told.textContent = say("legend_heights", { m: shown(apart) });
  }

  // ---------------------------------------------------------------- loading

  const loading = { wanted: [], busy: false, pending: new Set() };

  /* A village's plots: a promise of the village, once they are there. */
  function loadVillage(village) {
    village.coming ??= tracked(
      loader.load(data.files.villages[village.at]).then((found) => {
        const from = plots.count;
        add(found, village.start);
        village.rows = Array.from({ length: plots.count - from }, (_, at) => from + at);
        tellLeftOut();
        return village;
      }),
    );
    // It may have been a card pulled out too soon: the next one who asks tries again.
    village.coming.catch(() => {
      village.coming = null;
    });
    return village.coming;
  }

  function tracked(promise) {
    loading.pending.add(promise);
    const done = () => loading.pending.delete(promise);
    promise.then(done, done);
    return promise;
  }

  /* Load what is in view, nearest to its middle first, one after the other. */
  function want(near) {
    const { lat, lng } = map.getCenter();
    const [x, y] = planeOf(lng, lat).map((at, axis) => (at - origin[axis]) / step);
    const away = ({ west, east, top, bottom }) => Math.hypot((west + east) / 2 - x, (top + bottom) / 2 - y);
    loading.wanted = near.filter(({ coming }) => coming === null).sort((a, b) => away(a) - away(b));
    if (!loading.busy && loading.wanted.length) tracked(loadWanted());
  }

  async function loadWanted() {
    loading.busy = true;
    try {
      for (let next = loading.wanted.shift(); next; next = loading.wanted.shift()) {
        await loadVillage(next);
        redraw();
      }
    } catch (fault) {
      // What else is in view would fail alike.
      loading.wanted = [];
      missed(fault);
    } finally {
      loading.busy = false;
    }
  }

  let drawing = null;

  /* Draw with the next picture, however often it is asked for until then. */
  function redraw() {
    drawing ??= requestAnimationFrame(() => {
      drawing = null;
      fields._update();
    });
  }

  /* Say that a file is not there; other faults are the page's own, and are not hidden. */
  function missed(fault) {
    if (!(fault instanceof NotThere)) throw fault;
    byId("told").textContent = say("not_loaded", { file: `map/${fault.message}.js` });
  }

  /* Wait until all that was asked for is there and drawn. */
  async function settled() {
    do {
      await Promise.allSettled([...loading.pending]);
      await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
    } while (loading.pending.size || drawing !== null);
    return true;
  }

  // ---------------------------------------------------------------- map

  const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  const phone = window.matchMedia("(max-width: 900px)");
  const map = L.map("map", {
    attributionControl: false,
    zoomControl: false,
    zoomSnap: 0.25,
    zoomDelta: 1,
    minZoom: 3,
    maxZoom: 22,
    wheelPxPerZoomLevel: 90,
    zoomAnimation: !still,
    fadeAnimation: !still,
    inertia: !still,
  });
  const contours = new Drawing({ padding: 0.15, pane: "ground", name: "contours", draw: drawHeights });
  const fields = new Drawing({ padding: 0.15, name: "fields", draw: drawFields });

  function control(position, element) {
    L.DomEvent.disableClickPropagation(element);
    const Control = L.Control.extend({ onAdd: () => element });
    new Control({ position }).addTo(map);
  }

  function legendWidth() {
    const legend = byId("legend");
    const aside = !phone.matches && !printing();
    return legend.open && aside ? legend.offsetLeft + legend.offsetWidth : 0;
  }

  /* Show some bounds in what the legend leaves free of the map. */
  function fit(bounds) {
    const legend = legendWidth();
    map.fitBounds(bounds, {
      paddingTopLeft: [legend + 24, 40],
      paddingBottomRight: [legend ? 70 : 24, 40],
      maxZoom: 18,
      animate: false,
    });
    // Kept until someone moves the map: a map of another size then shows the same again.
    state.framed = bounds;
  }

  function refit() {
    if (state.framed) fit(state.framed);
  }

  // The hillshade lets what is below it shine through: the tint of heights, or the warm paper.
  const ground = groundOf(data.ground);

  function groundOf({ image, tint, bounds_deg: [west, south, east, north], opacity }) {
    const over = (picture, options) => L.imageOverlay(picture, [[south, west], [north, east]], { pane: "ground", alt: "", ...options });
    return { shade: over(image, { opacity, zIndex: 2 }), tint: tint && over(tint, { zIndex: 1 }), lines: contours };
  }

  /* Put on the map what is asked for of the ground. */
  function showGround() {
    for (const kind of GROUND) {
      if (!ground[kind]) continue;
      if (state.ground.includes(kind)) ground[kind].addTo(map);
      else ground[kind].remove();
    }
  }

  function setGround(kinds) {
    if (kinds.join() === state.ground.join()) return;
    state.ground = kinds;
    for (const kind of GROUND) {
      const box = byId(`ground-${kind}`);
      if (box) box.checked = kinds.includes(kind);
    }
    showGround();
    remember();
  }

  function startMap() {
    byId("map").setAttribute("aria-label", data.words.map);
    fit(boundsOfVillages(villages));
    // Below the plots, whatever is put there later.
    Object.assign(map.createPane("ground").style, { zIndex: 300, pointerEvents: "none" });
    ground.shade.addTo(map);
    showGround();
    // Wide enough not to pull the map back from where the legend left it room.
    map.setMaxBounds(boundsOfVillages(villages).extend(ground.shade.getBounds()).pad(2));
    map.setMinZoom(Math.max(3, Math.floor(map.getZoom()) - 2));
    const titles = { zoomInTitle: data.words.zoom_in, zoomOutTitle: data.words.zoom_out };
    L.control.zoom({ position: "topright", ...titles }).addTo(map);
    L.control.scale({ imperial: false, position: phone.matches ? "topleft" : "bottomright" }).addTo(map);
    const all = villages.length > 1 ? data.words.whole : data.words.whole_village;
    const whole = make("button", { type: "button", class: "whole" }, all);
    whole.addEventListener("click", leaveVillage);
    control(phone.matches ? "bottomright" : "topright", whole);
    const hint = make("div", { class: "zoom-hint" }, data.words.zoom_hint);
    control("bottomright", hint);
    fields.on("drawn", ({ typical }) => {
      const said = { first: data.words.zoom_hint_first, teach: data.words.zoom_hint_teach };
      hint.textContent = said[state.view] || data.words.zoom_hint;
      if (state.view === "visits") hint.hidden = true;
      if (state.view === "teach") hint.hidden = typical >= HALVES_FROM || !teach.sides.length;
      else hint.hidden = typical >= ROWS_FROM;
    });
    fields.addTo(map);
    map.on("movestart", () => {
      state.framed = null;
    });
    map.on("resize", refit);
    map.on("click", (event) => {
      const place = placeAt(event.latlng);
      if (place === null) close();
      else if (villages.length > 1 && state.typical < SHAPE_FROM) openVillage(villageOf(place));
      else openPlace(place, byId("map"));
    });
  }

  function holds(i, px, py) {
    const { rings, vertices, x, y } = shapes;
    let within = false;
    for (let ring = rings[i]; ring < rings[i + 1]; ring++) {
      const [first, last] = [vertices[ring], vertices[ring + 1] - 1];
      for (let at = first, before = last; at <= last; before = at++) {
        if (y[at] > py !== y[before] > py) {
          const crossing = x[before] + ((py - y[before]) / (y[at] - y[before])) * (x[at] - x[before]);
          if (px < crossing) within = !within;
        }
      }
    }
    return within;
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
    // Into the middle of what the legend leaves free.
    map.panBy([-legendWidth() / 2, 0], { animate: false });
  }

  // ---------------------------------------------------------------- card

  function seOf(i) {
    const se = numberOf("row_bearing_se_deg", i);
    // Bearings are printed in whole degrees, so none is surer than one.
    return se > 0 ? say("bearing_se", { se: shown(Math.max(1, se)) }) : "";
  }

  function line(key, value, lead = false) {
    if (value === null) return null;
    const [term, text] = [make("dt", {}, data.words[key]), make("dd", {}, value)];
    return make("div", lead ? { class: "lead" } : {}, term, " ", text);
  }

  /* How a slope or bearing was measured on the ground; undefined where it wasn't. */
  const howRead = (kind, i) => plots.readings[kind][i];

  function rasterSlope(i) {
    const [mean, se] = [numberOf("slope_mean_pct", i), numberOf("slope_se_pct", i)];
    const values = { mean: shown(mean, 1), se: shown(se, 1) };
    return se > 0 ? say("slope_value", values) : say("slope_sure", values);
  }

  function slopeLine(i) {
    const how = howRead("slope", i);
    if (how === undefined) return line("slope", rasterSlope(i), true);
    const slope = shown(numberOf("slope_measured_pct", i), 1);
    return line("slope", say("slope_read", { slope, how }), true);
  }

  function bearingLine(i) {
    const how = howRead("bearing", i);
    // Where the slope read is level the bearing read no longer counts.
    if (how !== undefined && methodOf(i) !== ANY) {
      const read = { true: wordOf("row_bearing_true_deg_text", i), how };
      return withCheck(line("bearing", say("bearing_read", read), true), i);
    }
    if (methodOf(i) === ANY) return line("bearing", data.words.bearing_any, true);
    if (methodOf(i) === MEASURE) return line("bearing", data.words.bearing_measure, true);
    const text = say("bearing_value", { true: wordOf("row_bearing_true_deg_text", i), se: seOf(i) });
    const entry = line("bearing", text, true);
    if (methodOf(i) === GUIDE && !barred(i)) {
      entry.lastChild.append(make("small", {}, data.words.bearing_start));
    }
    return withCheck(entry, i);
  }

  function withCheck(entry, i) {
    if (plots.notes.check[i] && !barred(i)) entry.lastChild.append(make("small", {}, data.words.bearing_check));
    return entry;
  }

  function magneticLine(i) {
    if (wordOf("row_bearing_true_deg_text", i) === null) return null;
    const magnetic = wordOf("row_bearing_magnetic_deg_text", i);
    const values = { magnetic, se: seOf(i) };
    return line("magnetic", magnetic === null ? data.words.unknown : say("magnetic_value", values), true);
  }

  function declinationLine(i) {
    const declination = numberOf("declination_deg", i);
    if (declination === null || wordOf("row_bearing_magnetic_deg_text", i) === null) return null;
    const text = say("declination_value", {
      declination: shown(Math.abs(declination), 1),
      side: declination < 0 ? data.words.west : data.words.east,
      date: data.planting_date,
    });
    return line("declination", text);
  }

  function rowLines(i) {
    const words = wordOf("row_bearing_words", i);
    const hasBearing = !barred(i) && (methodOf(i) === STRAIGHT || methodOf(i) === GUIDE);
    const laid = excluded[i] === null ? "method_later" : "method_excluded";
    const key = barred(i) ? laid : `method_${methodOf(i).replace(/ /g, "_")}`;
    return [
      line("bearing_words", hasBearing && words !== null ? say("bearing_words_value", { words }) : null),
      declinationLine(i),
      line("method", data.words[key]),
      ...(barred(i) ? [] : [guideLine(i), ...laidLines(i)]),
      ...waterLines(i),
    ];
  }

  function guideLine(i) {
    if (kindOf(i) === null) return null;
    const count = shown(numberOf("guide_lines", i) || 0);
    return line("guide", say(`guide_${kindOf(i).replace(/ /g, "_")}`, { count }));
  }

  /* How many rows, how long, and where the first one is found; curved rows start from their guides. */
  function laidLines(i) {
    const [rows, short, length] = ["rows", "short_rows", "row_length_m"].map((name) => numberOf(name, i));
    const metres = shown(length);
    const counts = { rows: shown(rows), short: shown(short), metres };
    const laid = short ? say("rows_value", counts) : say("rows_even", counts);
    return [
      line(rowsLabel(i), rows === null ? say("rows_metres", { metres }) : laid),
      line("rows_basis", wordOf("holes_basis", i)),
      firstLine(i),
      maizeLine(i),
    ];
  }

  /* Where a straight plot has pegs the sheet starts from the first of them, and so does the card. */
  function firstLine(i) {
    const pegged = plots.notes.pegged[i];
    if (pegged !== null) return line("first_peg", pegged);
    const start = numberOf("first_row_start_m", i);
    const corner = { m: shown(start, 1), way: wordOf("first_row_way", i), corner: wordOf("first_row_corner", i) };
    return line("first_row", start === null || methodOf(i) !== STRAIGHT ? null : say("first_row_value", corner));
  }

  function rowsLabel(i) {
    if (numberOf("maize_holes", i) !== null) return "rows_beans";
    return numberOf("rows", i) === null ? "rows_length" : "rows_laid";
  }

  function maizeLine(i) {
    const [rows, length, holes] = ["maize_rows", "maize_row_length_m", "maize_holes"].map((name) => numberOf(name, i));
    if (holes === null) return null;
    const counted = { rows: rows === null ? data.words.unknown : shown(rows), metres: shown(length), holes: shown(holes) };
    return line("maize", say("maize_value", counted));
  }

  /* What runs onto a flagged plot and through it. */
  function waterLines(i) {
    const known = plots.water[i];
    if (known === undefined) return [];
    const [outside, through, metres, atLeast] = known;
    const area = (tenths) => {
      if (tenths === null) return data.words.unknown;
      const ha = say("ha", { ha: shown(tenths / 10, 1) });
      return atLeast ? say("at_least", { ha }) : ha;
    };
    const values = { ha: area(through), metres: shown(metres) };
    return [
      line("run_on", say("run_on_value", { ha: area(outside) })),
      line("flow", metres ? say("flow_value", values) : say("flow_none", values)),
    ];
  }

  function lossText(name, i) {
    const tonnes = numberOf(name, i);
    if (tonnes === null) return null;
    return tonnes < 1 ? data.words.loss_small : say("loss_value", { tonnes: shown(tonnes) });
  }

  function soilLines(i) {
    const number = numberOf("erosion_class_number", i);
    const name = wordOf("erosion_class", i);
    const p90 = shown(numberOf("slope_p90_pct", i), 1);
    const max = shown(numberOf("slope_max_pct", i), 1);
    const steepness = { number: shown(numberOf("slope_class_number", i)), name: wordOf("slope_class", i) };
    const read = howRead("slope", i) !== undefined;
    const slope = shown(numberOf(read ? "slope_measured_pct" : "slope_corrected_pct", i), 1);
    const reckoned = read ? say("loss_slope_read", { slope }) : say("loss_slope_value", { slope });
    const upDown = lossText("soil_loss_up_down_likely_t_ha_yr", i);
    return [
      line("slope_raster", read ? rasterSlope(i) : null),
      line("slope_spread", say("slope_spread_value", { p90, max })),
      line("slope_class", say("class_value", steepness)),
      line("erosion_class", number === null ? null : say("class_value", { number: shown(number), name })),
      upDown === null ? line("loss", data.words.no_tonnes) : line("loss_up_down", upDown),
      line("loss_contour", lossText("soil_loss_contour_likely_t_ha_yr", i)),
      upDown === null ? null : line("loss_slope", reckoned),
      line("loss_above", wordOf("loss_above", i)),
    ];
  }

  const measureWord = (name, i) => plots.measure.words[name][i];

  /* What to do first against soil loss: whoever stands on the plot has to find it on top. */
  function firstLines(i) {
    const hill = work.hills[hillOf.get(plots.place[i])];
    const place = hill === undefined ? null : { rank: shown(hill.rank), name: hill.name };
    const lines = [
      line("measure", measureWord("measure", i)),
      line("measure_apart", measureWord("apart", i)),
      line("work_hill", place && say("work_rank", place)),
      line("veto", measureWord("veto", i)),
    ];
    return lines.filter((entry) => entry !== null);
  }

  /* What that takes and saves, beside rows on the contour. */
  function measureLines(i) {
    const of = (name) => inNumbers(plots.measure.numbers, name, i);
    const [taken, saved] = ["land_taken_pct", "soil_saved_t_yr"].map(of);
    return [
      line("measure_takes", taken === null ? null : say("measure_takes_value", { pct: shown(taken) })),
      line("measure_saves", saved === null ? null : say("measure_saves_value", { tonnes: shown(saved, 1) })),
      line("work_days", measureWord("owed", i)),
    ];
  }

  function inputLines(i) {
    const counts = ["holes", "plants", "seed_packs", "npk_packs", "urea_packs"];
    const weights = { seed: "seed_g", npk: "npk_g", urea: "urea_g", manure: "manure_g" };
    const countLine = (name) => {
      const value = numberOf(name, i);
      return line(name, value === null ? null : shown(value));
    };
    const weightLine = ([key, name]) => {
      const value = numberOf(name, i);
      return line(key, value === null ? null : say("kg", { kg: kilograms(value) }));
    };
    return [
      ...counts.slice(0, 2).map(countLine),
      ...Object.entries(weights).map(weightLine),
      ...counts.slice(2).map(countLine),
    ];
  }

  /* What the plot's farmer gets, and on which line of the order it stands. */
  function kitLines(i) {
    const { words, numbers } = plots.kit;
    const weight = (key, name) => {
      const value = inNumbers(numbers, name, i);
      return line(key, value === null ? null : say("kg", { kg: kilograms(value) }));
    };
    const counted = (key, name) => {
      const value = inNumbers(numbers, name, i);
      return line(key, value === null ? null : shown(value));
    };
    const whose = line("kit_line", words.order_line[i]);
    if (excluded[i] !== null) return [whose];
    return [
      whose,
      line("kit_area", say("ha", { ha: shown(inNumbers(numbers, "bean_area_ha", i), 2) })),
      weight("kit_seed", "seed_g"),
      weight("npk", "npk_g"),
      weight("urea", "urea_g"),
      weight("manure", "manure_g"),
      counted("kit_loads", "manure_loads"),
      counted("kit_poles", "poles"),
    ];
  }

  function placeLines(i) {
    const [latitude, longitude] = [numberOf("latitude_deg", i), numberOf("longitude_deg", i)];
    const ha = numberOf("area_ha", i);
    const farmer = plots.farmer[i] && brief(plots.farmer[i]);
    return [
      line("farmer", farmer),
      line("area", say("area_value", { ha: shown(ha, 2), m2: shown(10 * Math.round(ha * 1000)) })),
      line("height", say("height_value", { m: shown(numberOf("elevation_mean_m", i)) })),
      // Plain digits, so that they can be pasted anywhere.
      line("place", `${latitude.toFixed(5)}, ${longitude.toFixed(5)}`),
    ];
  }

  /* The plot's sheet of paper, where it has one. */
  function sheetLink(i) {
    const [page, village] = [plots.sheet[i], villageOf(plots.place[i])];
    if (!page) return null;
    const file = `${data.files.villages[village.at]}.pdf`;
    const said = say("sheet_link", { page: shown(page), file });
    return make("p", { class: "paper" }, make("a", { href: `${data.files.sheets}/${file}#page=${page}` }, said));
  }

  /* Where guide lines start, and how many rows lie between them. */
  function linesOf(i) {
    const said = plots.notes.lines[i];
    return said.length ? make("div", { class: "guide-lines" }, listed(said)) : null;
  }

  function notesOf(i) {
    const sentences = [...plots.notes.flags[i]];
    // That a plot is not for beans stands first of its flags, and on top of the card already.
    if (excluded[i] !== null) sentences.shift();
    else if (!sentences.length) return make("p", {}, data.words.no_notes);
    if (!sentences.length) return null;
    return make("div", { class: "notes" }, make("h3", {}, data.words.notes_heading), listed(sentences));
  }

  function careOf(i) {
    const care = plots.notes.care;
    const steep = plots.steep[i] || methodOf(i) === GUIDE;
    const said = [...(steep ? care.steep : []), ...care.feed];
    if (!said.length) return null;
    return make("div", { class: "take-care" }, make("h3", {}, data.words.care_heading), listed(said));
  }

  function fillCard(i) {
    const list = (lines) => make("dl", {}, ...lines.filter((entry) => entry !== null));
    const first = firstLines(i);
    const paragraph = (text, name) => (text === null ? null : make("p", { class: name }, text));
    const parts = [
      make(
        "header",
        {},
        make("h2", { id: "card-title" }, say("card_plot", { id: brief(plots.id[i]) })),
        make("button", { type: "button", onclick: () => close() }, data.words.close),
      ),
      paragraph(excluded[i], "stop"),
      make("p", { class: "place" }, villageOf(plots.place[i]).name),
      sheetLink(i),
      state.view === "teach" ? teachPart(i) : null,
      first.length ? make("section", { class: "first" }, make("h3", {}, data.words.first_heading), list(first)) : null,
      list([slopeLine(i), bearingLine(i), magneticLine(i)]),
      make("p", { class: "method" }, plots.notes.method[i].join(" ")),
      list(rowLines(i)),
      linesOf(i),
      notesOf(i),
      make("h3", {}, data.words.soil_heading),
      list([...soilLines(i), ...measureLines(i)]),
      paragraph(plots.notes.same[i], "same"),
      barred(i) ? null : make("h3", {}, data.words.inputs_heading),
      barred(i) ? null : list(inputLines(i)),
      make("h3", {}, data.words.kit_heading),
      list(kitLines(i)),
      state.view === "teach" ? null : teachPart(i),
      visitPart(i),
      make("h3", {}, data.words.place_heading),
      list(placeLines(i)),
      careOf(i),
    ];
    byId("card").replaceChildren(...parts.filter((part) => part !== null));
  }

  /* Open the card of the plot of a place, at once where its village is there. */
  function openPlace(place, opener) {
    const i = rowAt(place);
    if (i !== undefined) open(i, opener);
    else return loadVillage(villageOf(place)).then(() => open(rowAt(place), opener)).catch(missed);
    return Promise.resolve();
  }

  function open(i, opener) {
    fillCard(i);
    state.open = i;
    state.opener = opener;
    setVillage(villageOf(plots.place[i]));
    remember();
    byId("card").hidden = false;
    byId("card-empty").hidden = true;
    document.body.classList.add("card-open");
    if (opener !== byId("map")) focusOn(i);
    fields._update();
    uncover(i);
    byId("card").scrollTop = 0;
    if (!phone.matches) byId("panel").scrollTop = 0;
    byId("card").focus({ preventScroll: true });
  }

  /* On a phone the card comes up over the map: move the plot into what is left to see. */
  function uncover(i) {
    if (!phone.matches) return;
    byId("stage").scrollIntoView({ block: "start" });
    const stage = byId("stage").getBoundingClientRect();
    const card = byId("card").getBoundingClientRect();
    const y = stage.top + map.latLngToContainerPoint(latLngOf(inside[2 * i], inside[2 * i + 1])).y;
    const wanted = (stage.top + Math.min(stage.bottom, card.top)) / 2;
    if (y > card.top - 24) map.panBy([0, y - wanted], { animate: false });
  }

  function close() {
    if (state.open === null) return;
    const back = state.opener;
    state.open = null;
    state.opener = null;
    remember();
    byId("card").hidden = true;
    byId("card-empty").hidden = false;
    document.body.classList.remove("card-open");
    fields._update();
    if (back && back.isConnected) back.focus({ preventScroll: true });
  }

  // ---------------------------------------------------------------- village

  /* Show a village: its plots on the map, its numbers beside it. */
  function openVillage(village) {
    close();
    setVillage(village);
    fit(boundsOfVillages([village]));
    byId("village").focus({ preventScroll: true });
    return tracked(loadVillage(village).then(redraw).catch(missed));
  }

  function leaveVillage() {
    setVillage(null);
    fit(boundsOfVillages(villages));
  }

  /* The village that is looked at, as long as there is more than one. */
  function setVillage(village) {
    const other = villages.length > 1 ? village : null;
    if (other === state.village) return;
    state.village = other;
    byId("village").hidden = other === null;
    if (other !== null) byId("village").replaceChildren(...villageParts(other));
    remember();
  }

  function villageParts(village) {
    const names = Object.keys(totals).filter((name) => inNumbers(totals, name, village.at) !== null);
    const back = make("button", { type: "button" }, data.words.whole);
    back.addEventListener("click", () => {
      close();
      leaveVillage();
    });
    const file = `villages/${data.files.villages[village.at]}.html`;
    const page = data.files.pages ? make("p", {}, make("a", { href: file }, data.words.village_page)) : null;
    const tokens = make("div", { class: "tokens" });
    const plotsOf = make("details", { class: "village" }, make("summary", {}, data.words.village_list), tokens);
    plotsOf.addEventListener("toggle", () => plotsOf.open && listPlots(village, tokens));
    const numbers = names.map((name) =>
      make("div", {}, make("dt", {}, data.words[`totals_${name}`]), " ", make("dd", {}, totalText(totals, name, village.at))),
    );
    const heading = make("h2", { id: "village-title" }, village.name);
    const taught = teach ? [make("h3", {}, data.words.view_teach), ...paragraphs(teachOf.get(village.at).said)] : [];
    const parts = [
      make("header", {}, heading, back),
      make("p", {}, villageCounts(village)),
      plotsOf,
      page,
      ...taught,
      make("h3", {}, data.words.totals_heading),
      make("p", { class: "hint" }, data.served),
      make("dl", {}, ...numbers),
    ];
    return parts.filter((part) => part !== null);
  }

  /* Buttons for all plots of a village, once they are there. */
  async function listPlots(village, tokens) {
    if (tokens.dataset.asked) return;
    tokens.dataset.asked = "yes";
    try {
      await tracked(loadVillage(village));
      tokens.after(inPieces(tokens, village.rows, rowButton));
    } catch (fault) {
      delete tokens.dataset.asked;
      missed(fault);
    }
  }

  // ---------------------------------------------------------------- address

  /* What the page's address tells, so that it can be sent and come back to. */
  function addressed() {
    const stem = state.village && data.files.villages[state.village.at];
    const view = state.view === VIEWS[0] ? null : state.view;
    const ground = state.ground.length === GROUND.length ? null : state.ground.join() || BARE;
    return { view, village: stem, plot: state.open === null ? null : plots.id[state.open], ground, ...state.filter };
  }

  /* One step back leads over all that was changed at once. */
  function remember() {
    if (state.restoring || state.remembering) return;
    state.remembering = true;
    queueMicrotask(() => {
      state.remembering = false;
      const fragment = Address.written(addressed());
      if (fragment !== location.hash.slice(1)) history.pushState(null, "", `#${fragment}`);
    });
  }

  /* Show what the address tells: on the way back, and where one was sent. */
  async function restore() {
    const wanted = Address.read(location.hash);
    state.restoring = true;
    try {
      if ((wanted.view ?? VIEWS[0]) !== state.view) show(VIEWS.includes(wanted.view) ? wanted.view : VIEWS[0]);
      const asked = wanted.ground;
      setGround(GROUND.filter((kind) => asked === null || asked === kind || !(asked === BARE || GROUND.includes(asked))));
      await setFilter(wanted);
      const village = villages[data.files.villages.indexOf(wanted.village)] ?? null;
      if (village) await loadVillage(village);
      const place = wanted.plot === null ? undefined : await placeById(wanted.plot);
      if (place !== undefined && place !== plots.place[state.open]) await openPlace(place, null);
      if (place !== undefined) return;
      if (village && (village !== state.village || state.open !== null)) await openVillage(village);
      if (!village && state.village) leaveVillage();
      close();
    } catch (fault) {
      missed(fault);
    } finally {
      state.restoring = false;
    }
  }

  function startAddress() {
    let turn = tracked(restore());
    window.addEventListener("popstate", () => {
      turn = tracked(turn.then(restore));
    });
  }

  // ---------------------------------------------------------------- filter

  const NO_FILTER = { class: null, from: null, to: null, flag: null, stage: null };

  /* Keep the plots that are as asked, and let the others fade. */
  async function setFilter(wanted) {
    const asked = Object.fromEntries(Object.keys(NO_FILTER).map((key) => [key, wanted[key] || null]));
    if (JSON.stringify(asked) === JSON.stringify(state.filter)) return;
    state.filter = asked;
    remember();
    if (Object.values(asked).every((value) => value === null)) state.kept = null;
    else {
      const known = await tracked(finder.ready());
      const number = (text) => (text === null || Number.isNaN(Number(text)) ? null : Number(text));
      const { flag, stage } = asked;
      const limits = { classes: number(asked.class), from: number(asked.from), to: number(asked.to), flag, stage };
      state.kept = Search.kept(limits, known, (place) => dots.number[place]);
    }
    await fillFilter();
    showFilter(await finder.ready());
    redraw();
  }

  const faded = (place) => state.kept !== null && state.kept[place] === 0 && plots.place[state.open] !== place;

  function showFilter(known) {
    for (const [key, value] of Object.entries(state.filter)) {
      const field = byId(`filter-${key}`);
      if (field) field.value = value ?? "";
    }
    const found = byId("filter-found");
    if (!found) return;
    found.replaceChildren();
    byId("filter-told").textContent = "";
    if (state.kept === null) return;
    byId("filter").open = true;
    const counts = villages.map(({ start, end }) => state.kept.subarray(start, end).reduce((sum, kept) => sum + kept, 0));
    const some = villages.filter(({ at }) => counts[at]).sort((a, b) => counts[b.at] - counts[a.at]);
    const count = counts.reduce((sum, one) => sum + one, 0);
    const told = { count: shown(count), total: shown(known.id.length), villages: shown(some.length) };
    byId("filter-told").textContent = say("filter_told", told);
    const holder = make("div");
    const more = inPieces(holder, some, (village) => keptFold(village, counts[village.at], known));
    found.append(holder, more);
  }

  function keptFold(village, count, known) {
    const tokens = make("div", { class: "tokens" });
    const summary = make("summary", {}, village.name, make("small", {}, count === 1 ? data.words.village_plot : say("village_plots", { count: shown(count) })));
    const element = make("details", { class: "village" }, summary, tokens);
    element.addEventListener("toggle", () => {
      if (!element.open || tokens.children.length) return;
      const places = [];
      for (let place = village.start; place < village.end; place++) if (!faded(place)) places.push(place);
      tokens.after(inPieces(tokens, places, (place) => plotButton(place, known.id[place])));
    });
    return element;
  }

  function startFilter() {
    fold("filter", data.words.filter);
    byId("filter").addEventListener("toggle", () => byId("filter").open && fillFilter().catch(missed));
  }

  async function fillFilter() {
    if (byId("filter-found")) return;
    const known = await tracked(finder.ready());
    if (byId("filter-found")) return;
    const choice = (key, options) => {
      const all = [["", data.words.filter_any], ...options];
      const select = make("select", { id: `filter-${key}` }, ...all.map(([value, text]) => make("option", { value }, text)));
      return make("p", {}, make("label", { for: `filter-${key}` }, data.words[`filter_${key}`]), select);
    };
    const limit = (key) => {
      const input = make("input", { id: `filter-${key}`, type: "number", min: "0", inputmode: "decimal" });
      return make("p", {}, make("label", { for: `filter-${key}` }, data.words[`filter_${key}`]), input);
    };
    const names = (kinds) => kinds.sort((a, b) => a[1].localeCompare(b[1], data.language));
    const classes = data.classes.filter(({ number }) => data.legend.classes.includes(number));
    const flags = [...new Set(known.flags.flat())].map((code) => [code, data.flag_names[code]]);
    const stages = [...new Set(known.stage)].map((code) => [code, data.words[`method_${code}`]]);
    const clear = make("button", { type: "button" }, data.words.filter_clear);
    clear.addEventListener("click", () => tracked(setFilter(NO_FILTER)).catch(missed));
    const form = make(
      "form",
      { class: "filter" },
      choice("class", classes.map(({ number, name }) => [String(number), `${number} ${name}`])),
      limit("from"),
      limit("to"),
      choice("stage", names(stages)),
      choice("flag", names(flags)),
      clear,
    );
    const asked = () => Object.fromEntries(Object.keys(NO_FILTER).map((key) => [key, byId(`filter-${key}`).value]));
    form.addEventListener("change", () => tracked(setFilter(asked())).catch(missed));
    form.addEventListener("submit", (event) => event.preventDefault());
    const told = make("p", { id: "filter-told", role: "status" });
    byId("filter").querySelector(".inner").replaceChildren(form, told, make("div", { id: "filter-found" }));
    showFilter(known);
  }

  // ---------------------------------------------------------------- search

  function goTo(entry, opener) {
    if (entry.place !== undefined) openPlace(entry.place, opener);
    else openVillage(villages[entry.village]);
  }

  function resultItem(entry, at, known) {
    const village = villages[entry.village];
    const farmer = entry.place === undefined || known.farmer === null ? null : known.farmer[entry.place];
    const texts = village
      ? [village.name, say("village_result", { count: shown(village.end - village.start) })]
      : [brief(known.id[entry.place]), [farmer && brief(farmer), villageOf(entry.place).name].filter((part) => part).join(", ")];
    const item = make("li", { id: `found-${at}`, role: "option", "aria-selected": "false" });
    item.append(texts[0], " ", make("small", {}, texts[1]));
    return item;
  }

  function startSearch() {
    const input = make("input", {
      id: "search-input",
      type: "search",
      role: "combobox",
      autocomplete: "off",
      spellcheck: "false",
      placeholder: data.words.search_hint,
      "aria-expanded": "false",
      "aria-controls": "found",
      "aria-autocomplete": "list",
    });
    const list = make("ul", { id: "found", role: "listbox", "aria-label": data.words.search, hidden: "" });
    const status = make("p", { class: "status", role: "status" });
    const label = make("label", { for: "search-input" }, data.words.search);
    let entries = [];
    let chosen = -1;

    function mark(at) {
      chosen = at;
      [...list.children].forEach((item, i) => item.setAttribute("aria-selected", String(i === at)));
      if (at < 0) input.removeAttribute("aria-activedescendant");
      else {
        input.setAttribute("aria-activedescendant", `found-${at}`);
        list.children[at].scrollIntoView({ block: "nearest" });
      }
    }

    function hide() {
      list.hidden = true;
      input.setAttribute("aria-expanded", "false");
      mark(-1);
    }

    function choose(at) {
      const entry = entries[at];
      hide();
      status.textContent = "";
      goTo(entry, input);
    }

    async function refresh() {
      const text = input.value;
      if (text.trim()) status.textContent = data.words.search_loading;
      const [found, known] = await tracked(Promise.all([finder.find(text), text.trim() && finder.ready()]));
      // What was typed since then has its own answer.
      if (text === input.value) showFound(found, known);
    }

    function showFound(found, known) {
      entries = found.slice(0, FOUND_MAX);
      list.replaceChildren(...entries.map((entry, at) => resultItem(entry, at, known)));
      [...list.children].forEach((item, at) => item.addEventListener("click", () => choose(at)));
      list.hidden = !entries.length;
      input.setAttribute("aria-expanded", String(!list.hidden));
      mark(entries.length ? 0 : -1);
      const left = found.length - entries.length;
      if (!input.value.trim()) status.textContent = "";
      else if (!found.length) status.textContent = data.words.search_none;
      else if (left) status.textContent = say("search_more", { count: shown(left) });
      else status.textContent = say("search_found", { count: shown(found.length) });
    }

    const keys = {
      ArrowDown: () => mark((chosen + 1) % entries.length),
      ArrowUp: () => mark((chosen - 1 + entries.length) % entries.length),
      Enter: () => choose(Math.max(0, chosen)),
    };
    const sought = () => refresh().catch(missed);
    input.addEventListener("input", sought);
    input.addEventListener("focus", () => input.value && sought());
    input.addEventListener("keydown", (event) => {
      if (event.key === "Escape") hide();
      if (list.hidden || !keys[event.key]) return;
      event.preventDefault();
      keys[event.key]();
    });
    document.addEventListener("pointerdown", (event) => {
      if (!byId("search").contains(event.target)) hide();
    });
    // The list lies over what follows; the status line is read out, and seen while it is hidden.
    byId("search").append(label, input, list, status);
  }

  // ---------------------------------------------------------------- lists and tables

  /* Show a long list piece by piece: a village may have thousands of plots. */
  function inPieces(parent, items, draw, size = CHUNK) {
    let next = 0;
    const more = make("button", { type: "button" });
    function grow() {
      const piece = items.slice(next, next + size);
      const start = next;
      next += piece.length;
      const drawn = piece.map((item, at) => draw(item, start + at));
      parent.append(...drawn);
      more.textContent = say("more", { count: shown(items.length - next) });
      more.hidden = next >= items.length;
      return drawn[0];
    }
    more.addEventListener("click", () => {
      const first = grow();
      const target = first && (first.querySelector("summary") || first);
      if (target) target.focus();
    });
    grow();
    return more;
  }

  function plotButton(place, id) {
    const found = classAtPlace(place);
    const tag = found ? make("span", { class: "tag" }, String(found.number)) : null;
    const button = make("button", { type: "button" }, brief(id), tag);
    button.addEventListener("click", () => openPlace(place, button));
    return button;
  }

  const rowButton = (i) => plotButton(plots.place[i], plots.id[i]);

  function villageCounts({ at, start, end }) {
    const steep = inNumbers(totals, "plots_steep", at);
    const size = end - start;
    const counts = [size === 1 ? data.words.village_plot : say("village_plots", { count: shown(size) })];
    if (steep) counts.push(say("village_steep", { count: shown(steep) }));
    if (teach) counts.push(...taughtCounts(teachOf.get(at)));
    return counts.join(" · ");
  }

  /* How many demonstration plots a village has, and who of it has none in reach. */
  function taughtCounts({ plots: here, reached, farmers }) {
    const left = farmers - reached;
    const plotsSaid = here === 1 ? data.words.village_demos_one : say("village_demos", { count: shown(here) });
    const leftSaid = left === 1 ? data.words.village_unreached_one : say("village_unreached", { count: shown(left) });
    return [plotsSaid, ...(left ? [leftSaid] : [])];
  }

  function villageFold(village) {
    const tokens = make("div", { class: "tokens" });
    const summary = make("summary", {}, village.name, make("small", {}, villageCounts(village)));
    const element = make("details", { class: "village" }, summary, tokens);
    element.addEventListener("toggle", () => {
      if (!element.open || tokens.children.length) return;
      const show = make("button", { type: "button" }, data.words.show_village);
      show.addEventListener("click", () => openVillage(village));
      tokens.append(show);
      listPlots(village, tokens);
    });
    return element;
  }

  function startList() {
    const holder = make("div");
    const more = inPieces(holder, villages, villageFold);
    fold("list", data.words.list_title, holder, more);
  }

  function totalsCells(numbers, names, at) {
    return names.map((name) => make("td", {}, totalText(numbers, name, at)));
  }

  function totalText(numbers, name, at) {
    const value = inNumbers(numbers, name, at);
    if (value === null) return "";
    return name.endsWith("_g") ? kilograms(value) : shown(value, name === "area_ha" ? 1 : 0);
  }

  /* A table whose cells are written already, and sentences below it. */
  function startTable(id, { heads, rows, notes }, name, hint) {
    const head = heads.map((text) => make("th", { scope: "col" }, text));
    const body = rows.map(([first, ...cells]) =>
      make("tr", {}, make("th", { scope: "row" }, first), ...cells.map((text) => make("td", {}, text))),
    );
    const table = make(
      "table",
      {},
      make("thead", {}, make("tr", {}, ...head)),
      make("tbody", {}, ...body),
    );
    const region = { class: "wide", tabindex: "0", role: "region", "aria-label": name };
    fold(id, name, make("p", { class: "hint" }, hint), make("div", region, table), ...(notes ? [listed(notes)] : []));
  }

  function startTotals() {
    const names = Object.keys(totals).filter((name) => villages.some(({ at }) => inNumbers(totals, name, at) !== null));
    const head = [data.words.totals_village, ...names.map((name) => data.words[`totals_${name}`])];
    const body = make("tbody");
    if (sums) {
      const all = make("tr", { class: "all" }, make("th", { scope: "row" }, data.words.totals_district));
      all.append(...totalsCells(sums, names, 0));
      body.append(all);
    }
    const table = make(
      "table",
      {},
      make("thead", {}, make("tr", {}, ...head.map((text) => make("th", { scope: "col" }, text)))),
      body,
    );
    const more = inPieces(body, villages, (village, at) =>
      make("tr", {}, make("th", { scope: "row" }, village.name), ...totalsCells(totals, names, at)),
    );
    const region = { class: "wide", tabindex: "0", role: "region", "aria-label": data.words.totals };
    const wide = make("div", region, table);
    const hint = `${data.served} ${data.words.totals_hint}`;
    fold("totals", data.words.totals, make("p", { class: "hint" }, hint), wide, more);
  }

  // ---------------------------------------------------------------- where to work first

  function hillFold(hill, at) {
    const show = make("button", { type: "button" }, data.words.work_show);
    show.addEventListener("click", () => {
      fit(boundsOfPlaces(hill.plots.map(([place]) => place)));
      byId("stage").scrollIntoView({ block: "nearest" });
    });
    const steps = hill.steps.map(([said, season, facts]) =>
      make("li", {}, said, make("small", {}, [facts, season].filter((part) => part).join("; "))),
    );
    const rows = hill.plots.map(([place, id, measure, why]) =>
      make("li", {}, plotButton(place, id), make("small", {}, `${measure}: ${why}`)),
    );
    const rank = make("span", { class: "rank" }, shown(hill.rank));
    const summary = make("summary", {}, rank, `${hill.name}: ${hill.summary}`, make("small", {}, hill.why));
    return make(
      "details",
      at ? { class: "hill" } : { class: "hill", open: "" },
      summary,
      show,
      ...(steps.length ? [make("h3", {}, data.words.work_steps), make("ol", {}, ...steps)] : []),
      ...hill.notes.map((note) => make("p", {}, note)),
      make("h3", {}, data.words.work_plots),
      make("ul", { class: "plain" }, ...rows),
    );
  }

  function startWork() {
    const holder = make("div");
    const more = inPieces(holder, work.hills, hillFold, HILLS);
    const left = work.left_out ? make("p", {}, say("work_left_out", { count: shown(work.left_out) })) : null;
    const total = shown(work.hills.length + work.left_out);
    const lead = make("p", {}, work.hills.length ? say("work_in_all", { count: total }) : data.words.work_none);
    const ruledOut = work.vetoes.map(([place, id, said]) => make("li", {}, plotButton(place, id), make("small", {}, said)));
    const vetoes = ruledOut.length ? [make("h3", {}, data.words.work_vetoes), make("ul", { class: "plain" }, ...ruledOut)] : [];
    fold("work", data.words.work_title, lead, holder, more, ...(left ? [left] : []), ...vetoes, ...work.lead.map((said) => make("p", {}, said)));
    const walk = work.walk.map(([place, id, why]) => make("li", {}, plotButton(place, id), make("small", {}, why)));
    const listOf = walk.length ? make("ol", { class: "plain" }, ...walk) : make("p", {}, data.words.walk_none);
    fold("walk", data.words.walk_title, listOf);
    if (work.curve) startCurve(work.curve);
    fold("first-care", data.words.first_cautions, listed(work.care));
  }

  function startCurve({ points, said, budget, unit }) {
    const [yours, top, alt] = [data.words.curve_yours, data.words.curve_saved, data.words.curve_alt];
    const drawing = () => curvePicture({ points, said, unit, mark: budget, yours, top, alt });
    const picture = points.length > 1 ? [make("p", {}, said), drawing()] : [make("p", {}, data.words.curve_none)];
    fold("curve", data.words.curve_title, ...work.chosen.map((each) => make("p", {}, each)), ...picture);
  }

  function drawn(tag, attributes, ...children) {
    const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
    element.append(...children);
    return element;
  }

  /* A round step that parts a range into some four. */
  function roundStep(most) {
    const rough = most / CURVE.ticks;
    const unit = 10 ** Math.floor(Math.log10(rough));
    return [1, 2, 5, 10].map((times) => times * unit).find((step) => step >= rough);
  }

  /* A curve with the place that the plan takes on it. */
  function curvePicture({ points, mark, unit, said, yours, top: above, alt }) {
    const { width, height, left, right, top, bottom } = CURVE;
    const [most, best] = points.at(-1);
    const toX = (value) => left + ((width - left - right) * value) / most;
    const toY = (value) => height - bottom - ((height - top - bottom) * value) / best;
    const text = (x, y, anchor, words) =>
      drawn("text", { x, y, "text-anchor": anchor, "font-size": 14, fill: INK }, words);
    const rule = (x1, y1, x2, y2, more = {}) =>
      drawn("line", { x1, y1, x2, y2, stroke: INK, "stroke-width": 1, ...more });
    const parts = [rule(left, top, left, height - bottom), rule(left, height - bottom, width - right, height - bottom)];
    for (let value = 0, step = roundStep(best); value <= best; value += step) {
      parts.push(rule(left - 5, toY(value), left, toY(value)), text(left - 8, toY(value) + 5, "end", shown(value)));
    }
    for (let value = 0, step = roundStep(most); value <= most; value += step) {
      parts.push(rule(toX(value), height - bottom, toX(value), height - bottom + 5));
      parts.push(text(toX(value), height - bottom + 20, "middle", shown(value)));
    }
    const path = points.map(([spent, saved]) => `${toX(spent).toFixed(1)},${toY(saved).toFixed(1)}`).join(" ");
    parts.push(drawn("polyline", { points: path, fill: "none", stroke: ACCENT, "stroke-width": 3 }));
    if (mark !== null && mark <= most) {
      parts.push(rule(toX(mark), top, toX(mark), height - bottom, { "stroke-width": 2, "stroke-dasharray": "6 4" }));
      const right = toX(mark) < width / 2;
      parts.push(text(toX(mark) + (right ? 6 : -6), height - bottom - 10, right ? "start" : "end", yours));
    }
    parts.push(text(4, 14, "start", above), text(width - right, height - 6, "end", unit));
    const names = [drawn("title", {}, alt), drawn("desc", {}, said)];
    return drawn("svg", { viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": `${alt} ${said}` }, ...names, ...parts);
  }

  // ---------------------------------------------------------------- who teaches

  const DEMO_FOLDS = ["demo-list", "demo-villages", "demo-curve", "demo-compared", "demo-out", "demo-how"];

  function paragraphs(sentences) {
    return sentences.map((said) => make("p", {}, said));
  }

  function demoFold({ place, number, id, village, message, said }, at) {
    const show = make("button", { type: "button" }, data.words.demo_show);
    show.addEventListener("click", () => openPlace(place, show));
    const rank = make("span", { class: "rank" }, shown(number));
    const summary = make("summary", {}, rank, `${id}: ${message}`, make("small", {}, village));
    // The plot of another village that farmers of this one go to is on that village's page.
    const shownAt = place === null ? [] : [show];
    return make("details", at ? { class: "hill" } : { class: "hill", open: "" }, summary, ...shownAt, ...paragraphs(said));
  }

  function teachVillageFold({ at, said, reached, farmers, plots: here }) {
    const counts = [say("demo_village", { reached: shown(reached), farmers: shown(farmers) })];
    if (here) counts.push(say("demo_village_plots", { count: shown(here) }));
    const summary = make("summary", {}, villages[at].name, make("small", {}, counts.join(" · ")));
    const show = make("button", { type: "button" }, data.words.show_village);
    show.addEventListener("click", () => openVillage(villages[at]));
    return make("details", { class: "village" }, summary, ...paragraphs(said), show);
  }

  function plainTable(heads, rows) {
    const head = heads.map((text) => make("th", { scope: "col" }, text));
    const body = rows.map(([first, ...cells]) =>
      make("tr", {}, make("th", { scope: "row" }, first), ...cells.map((text) => make("td", {}, text))),
    );
    const table = make("table", {}, make("thead", {}, make("tr", {}, ...head)), make("tbody", {}, ...body));
    return make("div", { class: "wide", tabindex: "0", role: "region", "aria-label": heads.join(", ") }, table);
  }

  function startTeach() {
    if (!teach) return;
    const list = make("div");
    const more = inPieces(list, teach.plots, demoFold);
    fold("demo-list", data.words.demo_list, ...(teach.plots.length ? [list, more] : paragraphs([data.words.demo_none])));
    const others = make("div");
    const moreVillages = inPieces(others, teach.villages, teachVillageFold);
    fold("demo-villages", data.words.demo_villages, others, moreVillages);
    fold("demo-how", data.words.demo_how, ...paragraphs(teach.how));
    if (teach.district) startTaught(teach.district);
  }

  /* What is told of the choice as a whole. */
  function startTaught({ curve, compared, left_out: leftOut }) {
    const { points, said, rows, unit, now } = curve;
    const [yours, top, alt] = [data.words.demo_curve_yours, data.words.demo_curve_farmers, data.words.demo_curve_alt];
    const drawing = () => [
      curvePicture({ points, mark: now, unit, said, yours, top, alt }),
      plainTable([unit, top, data.words.demo_gain], rows),
      make("p", {}, said),
    ];
    fold("demo-curve", data.words.demo_curve, ...(points.length > 1 ? drawing() : paragraphs([data.words.demo_curve_none])));
    fold("demo-compared", data.words.demo_compared, ...paragraphs(compared.length ? compared : [data.words.demo_none]));
    const messages = [...new Set(leftOut.map(([message]) => message))];
    const reasons = messages.flatMap((message) => [
      make("h3", {}, message),
      listed(
        leftOut
          .filter(([name]) => name === message)
          .map(([, reason, count, alone]) => say("demo_out_line", { reason, count, alone })),
      ),
    ]);
    fold("demo-out", data.words.demo_out, make("p", { class: "hint" }, data.words.demo_out_hint), ...reasons);
  }

  // ---------------------------------------------------------------- who comes when

  const VISIT_FOLDS = ["visit-days", "visit-load", "visit-out"];

  function dayFold({ line, day, said, stops }) {
    const show = make("button", { type: "button" }, data.words.visit_show);
    show.addEventListener("click", () => {
      dayShown = line;
      const [from, to] = [routes.vertices[line], routes.vertices[line + 1]];
      const places = Array.from({ length: to - from }, (_, at) => latLngOf(routes.x[from + at], routes.y[from + at]));
      fit(L.latLngBounds(places));
      fields._update();
    });
    return make("details", { class: "hill" }, make("summary", {}, day, make("small", {}, said)), listed(stops), show);
  }

  function agentFold({ number, id, days }) {
    const rank = make("span", { class: "rank" }, shown(number));
    const count = make("small", {}, say("visit_days", { count: shown(days.length) }));
    const list = make("div");
    const more = inPieces(list, days, dayFold);
    return make("details", { class: "village" }, make("summary", {}, rank, id, count), list, more);
  }

  function startVisits() {
    if (!visits) return;
    const all = make("button", { type: "button" }, data.words.visit_all);
    all.addEventListener("click", () => {
      dayShown = null;
      fields._update();
    });
    const left = visits.days_left_out;
    const more = left ? paragraphs([say("visit_days_left", { count: shown(left) })]) : [];
    fold("visit-days", data.words.visit_list, all, ...visits.agents.map(agentFold), ...more);
    const heads = [data.words.visit_week, ...visits.agents.map(({ id }) => id)];
    fold("visit-load", data.words.visit_load, plainTable(heads, visits.load));
    const out = visits.left.length ? [listed(visits.left)] : paragraphs([data.words.visit_none_out]);
    const others = visits.left_more ? paragraphs([say("visit_out_more", { count: shown(visits.left_more) })]) : [];
    fold("visit-out", data.words.visit_out, ...out, ...others);
  }

  function visitPart(i) {
    const said = plots.notes.visits[i] ?? [];
    if (!said.length) return null;
    return make("section", { class: "visits" }, make("h3", {}, data.words.visit_card), ...paragraphs(said));
  }

  function visitLegend(entry) {
    if (!visits) return [];
    const chosen = sample((context, path) => {
      context.fillStyle = visits.look.fill;
      context.fill(path);
      context.stroke(path);
      write(context, "1", 24, 14.5, { font: "700 15px system-ui, sans-serif", halo: 0.01, ...visits.look });
    });
    const way = sample((context) => {
      const points = [[3, 22], [18, 8], [44, 18]];
      strokeOver(context, () => points.forEach(([x, y], at) => (at ? context.lineTo(x, y) : context.moveTo(x, y))), ROUTE_LOOK);
    });
    const entries = [entry(chosen, data.words.legend_visited), entry(way, data.words.legend_routes)];
    return [make("h3", {}, data.words.legend_visits), make("ul", {}, ...entries)];
  }

  /* To be read aloud: why the plot is or isn't one, what is flagged, its kit, what would change it. */
  function teachPart(i) {
    if (!teach) return null;
    const flags = plots.notes.flags[i].join(" ");
    const title = demoOf.has(plots.place[i]) ? data.words.demo_is : data.words.demo_is_not;
    return make(
      "section",
      { class: "teach" },
      make("h3", {}, title),
      ...paragraphs(plots.notes.teach[i]),
      make("p", {}, flags ? say("demo_flagged", { flags }) : data.words.demo_not_flagged),
      make("p", {}, kitSaid(i)),
    );
  }

  function kitSaid(i) {
    const { words, numbers } = plots.kit;
    const line = words.order_line[i];
    const parts = ["seed", "npk", "urea", "manure"]
      .map((good) => [teach.goods[good], inNumbers(numbers, `${good}_g`, i)])
      .filter(([, grams]) => grams)
      .map(([good, grams]) => say("demo_kit_part", { kg: kilograms(grams), good }));
    return parts.length ? say("demo_kit", { line, parts: parts.join(", ") }) : say("demo_kit_none", { line });
  }

  // ---------------------------------------------------------------- legend and notes

  /* A sample plot, drawn by the same code lines as the map's. */
  function sample(draw) {
    const canvas = make("canvas", { width: "92", height: "56", "aria-hidden": "true" });
    const context = canvas.getContext("2d");
    context.scale(2, 2);
    const path = new Path2D("M4 6 L40 3 L43 22 L8 25 Z");
    draw(context, path);
    return canvas;
  }

  function sampleClass(entry) {
    return sample((context, path) => {
      context.fillStyle = entry.fill;
      context.fill(path);
      context.strokeStyle = INK;
      context.stroke(path);
      if (entry.beyond) doubleEdge(context, path);
      const look = { font: "700 15px system-ui, sans-serif", halo: 0.01, fill: entry.fill };
      write(context, String(entry.number), 24, 14.5, { ...look, ink: entry.ink });
    });
  }

  function doubleEdge(context, path) {
    context.strokeStyle = INK;
    context.lineWidth = 5;
    context.stroke(path);
    context.strokeStyle = PAPER;
    context.lineWidth = 1.8;
    context.stroke(path);
  }

  function sampleRows(kind) {
    return sample((context, path) => {
      const empty = kind === MEASURE;
      context.fillStyle = empty ? PAPER : data.plain.fill;
      context.fill(path);
      context.strokeStyle = INK;
      context.lineWidth = empty ? 1.6 : 1;
      context.setLineDash(empty ? [5, 4] : []);
      context.stroke(path);
      if (empty) return;
      context.clip(path);
      context.setLineDash(kind === ANY ? DOTS : []);
      context.lineCap = kind === ANY ? "round" : "butt";
      context.lineWidth = { [STRAIGHT]: 1.2, [GUIDE]: 3, [ANY]: 2 }[kind];
      if (kind === GUIDE) {
        context.beginPath();
        context.moveTo(16, 17);
        context.lineTo(32, 12);
        context.stroke();
        return;
      }
      const slant = kind === ANY ? 0 : 12;
      for (let y = -10; y < 50; y += LINE_GAP[kind]) {
        context.beginPath();
        context.moveTo(0, y + slant);
        context.lineTo(48, y - slant);
        context.stroke();
      }
    });
  }

  function samplePath(path, style) {
    return sample((context, plot) => {
      context.fillStyle = data.plain.fill;
      context.fill(plot);
      context.lineWidth = 1;
      context.stroke(plot);
      Object.assign(context, { lineWidth: style.width, strokeStyle: style.colour });
      context.setLineDash(style.dash || []);
      context.stroke(new Path2D(path));
    });
  }

  /* What guides the rows of curved plots, where it is drawn. */
  function guideEntries(entry) {
    const kinds = new Set(data.legend.guides);
    const levelled = kinds.delete(LEVELLED);
    const bow = "M7 18 Q24 4 41 13";
    const style = { width: GUIDE_WIDTH, colour: INK };
    return [
      ...(kinds.size ? [entry(samplePath(bow, style), data.words.legend_arc)] : []),
      ...(levelled ? [entry(samplePath(bow, { ...style, dash: LEVEL_DASH }), data.words.legend_level)] : []),
      ...(data.legend.parts
        ? [entry(samplePath("M24 4 L24 22", { width: PART_WIDTH, colour: INK, dash: PART_DASH }), data.words.legend_parts)]
        : []),
    ];
  }

  function waterPart(entry) {
    const least = data.legend.flow;
    if (!least.length) return [];
    const wave = "M2 8 C14 2 22 26 46 18";
    const style = { width: 2.5, colour: WATER };
    const sampled = [
      ...(least.includes(0) ? [entry(samplePath(wave, style), data.words.legend_flow)] : []),
      ...(least.includes(1)
        ? [entry(samplePath(wave, { ...style, dash: FLOW_DASH }), data.words.legend_flow_least)]
        : []),
    ];
    return [
      make("h3", {}, data.words.legend_water),
      make("ul", {}, ...sampled),
      make("p", { id: "left-flow", hidden: "" }),
    ];
  }

  /* A sample of what is proposed and built, where it is drawn. */
  function workPart(entry) {
    const over = (look, points) =>
      sample((context, plot) => {
        context.fillStyle = data.plain.fill;
        context.fill(plot);
        strokeOver(context, () => points.forEach(([x, y], at) => (at ? context.lineTo(x, y) : context.moveTo(x, y))), look);
        if (points.length > 2) arrow(context, 34, 14, 1, 0.1);
      });
    const level = [[5, 18], [41, 10]];
    const drawn = (lines) => lines.vertices.length > 1;
    const chosen = sample((context, path) => {
      context.fillStyle = work.look.fill;
      context.fill(path);
      context.stroke(path);
      write(context, "1", 24, 14.5, { font: "700 15px system-ui, sans-serif", halo: 0.01, ...work.look });
    });
    const carries = work.lines.carries;
    const entries = [
      work.hills.length ? entry(chosen, data.words.legend_chosen) : null,
      carries.includes(0) ? entry(over(WORK_LOOK, level), data.words.legend_line) : null,
      carries.includes(1) ? entry(over(WORK_LOOK, [[5, 11], [24, 13], [43, 15]]), data.words.legend_carries) : null,
      drawn(waterways) ? entry(over(DUG_LOOK, level), data.words.legend_dug) : null,
      drawn(outlets) ? entry(over(OUTLET_LOOK, level), data.words.legend_outlet) : null,
    ];
    return [make("h3", {}, data.words.legend_work), make("ul", {}, ...entries)];
  }

  /* A sample of each thing that the view of demonstration plots draws. */
  function teachLegend(entry) {
    if (!teach) return [];
    const chosen = sample((context, path) => {
      context.fillStyle = teach.look.fill;
      context.fill(path);
      context.stroke(path);
      write(context, "1", 24, 14.5, { font: "700 15px system-ui, sans-serif", halo: 0.01, ...teach.look });
    });
    const ring = sample((context) => {
      context.beginPath();
      context.arc(24, 14, 11, 0, 2 * Math.PI);
      Object.assign(context, { fillStyle: REACH_FILL, strokeStyle: ACCENT, lineWidth: 2 });
      context.fill();
      context.stroke();
    });
    const square = sample((context, path) => {
      context.fillStyle = data.plain.fill;
      context.fill(path);
      context.stroke(path);
      context.fillStyle = INK;
      context.fillRect(24 - UNREACHED / 2, 14 - UNREACHED / 2, UNREACHED, UNREACHED);
    });
    const counts = sample((context) => {
      const look = { halo: 4, fill: PAPER, ink: INK };
      write(context, "8 / 9", 24, 14.5, { font: "600 15px system-ui, sans-serif", ...look });
    });
    const halves = sample((context, path) => {
      context.fillStyle = teach.look.fill;
      context.fill(path);
      context.stroke(path);
      context.stroke(new Path2D("M22 4.5 L24 23.7 M24 4.4 L26 23.6"));
      context.lineWidth = 1.4;
      context.setLineDash([4, 2]);
      context.strokeRect(10, 10, 9, 8);
      context.strokeRect(28, 10, 9, 8);
    });
    const left = teach.people_left_out;
    return [
      make("h3", {}, data.words.legend_teach),
      make(
        "ul",
        {},
        ...(demoOf.size ? [entry(chosen, data.words.legend_demo)] : []),
        // A page of one village writes no name on the map.
        ...(villages.length > 1 ? [entry(counts, data.words.legend_counts)] : []),
        entry(ring, data.words.legend_reach),
        ...(demoShapes.people.x.length ? [entry(square, data.words.legend_unreached)] : []),
        ...(demoShapes.nets.x.length ? [entry(halves, data.words.legend_halves)] : []),
      ),
      ...(left ? [make("p", {}, say("legend_unreached_left", { count: shown(left) }))] : []),
    ];
  }

  /* What is drawn only from some size on, or stands for more, or is left out. */
  function rowRemarks(methods) {
    const { legend } = data;
    const said = [
      methods.includes(STRAIGHT) || legend.curved ? data.words.legend_thinned : null,
      legend.maize ? data.words.legend_maize : null,
      legend.guides.length ? data.words.legend_guides_zoom : null,
      legend.pegs ? data.words.legend_pegs : null,
      legend.barred ? data.words.legend_barred : null,
    ];
    return [
      ...said.filter((text) => text !== null).map((text) => make("p", {}, text)),
      ...["guides", "pegs"].map((kind) => make("p", { id: `left-${kind}`, hidden: "" })),
    ];
  }

  /* What a village that is there has too much of to be drawn. */
  function tellLeftOut() {
    for (const [kind, count] of Object.entries(plots.left)) {
      const told = byId(`left-${kind}`);
      if (!told || !count) continue;
      told.textContent = say(`legend_${kind}_left_out`, { count: shown(count) });
      told.hidden = false;
    }
  }

  function sampleCross() {
    return sample((context, path) => {
      context.fillStyle = data.plain.fill;
      context.fill(path);
      context.stroke(path);
      const look = { font: "700 22px system-ui, sans-serif", halo: 0.01, fill: data.plain.fill };
      write(context, CROSS, 24, 14.5, { ...look, ink: data.plain.ink });
    });
  }

  function legendFits() {
    return !phone.matches && window.innerHeight > 700;
  }

  /* What is drawn of the ground, each with a box to take it off. */
  function groundPart() {
    const { tint, tints, low_m: low, high_m: high } = data.ground;
    const box = (kind, ...children) => {
      const input = make("input", { type: "checkbox", id: `ground-${kind}`, checked: "" });
      input.addEventListener("change", () => setGround(GROUND.filter((each) => byId(`ground-${each}`)?.checked)));
      return make("label", { class: "ground", for: input.id }, input, ...children);
    };
    const strip = sample((context) => {
      const across = context.createLinearGradient(2, 0, 44, 0);
      tints.forEach((colour, at) => across.addColorStop(at / (tints.length - 1), colour));
      Object.assign(context, { fillStyle: across, strokeStyle: INK });
      context.fillRect(2, 5, 42, 18);
      context.strokeRect(2, 5, 42, 18);
    });
    const curve = sample((context) => {
      context.strokeStyle = CONTOUR;
      context.stroke(new Path2D("M2 10 C14 2 24 18 46 8"));
      context.lineWidth = 1.4;
      context.stroke(new Path2D("M2 20 C14 12 24 28 46 18"));
    });
    const ends = { low: say("height_value", { m: shown(low) }), high: say("height_value", { m: shown(high) }) };
    return [
      make("h3", {}, data.words.legend_hills),
      ...(data.heights ? [box("lines", curve, make("span", { id: "heights-apart" }, data.words.legend_heights_none))] : []),
      ...(tint ? [box("tint", strip, make("span", {}, say("legend_tint", ends)))] : []),
      make("p", {}, data.words.legend_ground),
    ];
  }

  function startLegend() {
    const entry = (picture, text) => make("li", {}, picture, make("span", {}, text));
    const bySlope = data.colour_by === "slope";
    const { legend } = data;
    const classes = data.classes.filter((found) => legend.classes.includes(found.number));
    const methods = METHODS.filter((kind) => legend.methods.includes(kind));
    // Where every plot has its guide lines, a remark tells of the dash that stands for them.
    const bare = legend.dash;
    const heading = bySlope ? data.words.legend_slope : data.words.legend_erosion;
    const rows = {
      [STRAIGHT]: "legend_straight",
      [GUIDE]: "legend_guide",
      [ANY]: "legend_any",
      [MEASURE]: "legend_measure",
    };
    const classPart = [
      make("h3", {}, heading),
      bySlope ? make("p", {}, data.words.legend_slope_why) : null,
      make(
        "ul",
        {},
        ...classes.map((found) => entry(sampleClass(found), found.name)),
        bySlope && legend.beyond ? entry(sample(doubleEdge), data.words.legend_beyond) : "",
      ),
    ];
    fold(
      "legend",
      data.words.legend,
      make("div", { id: "legend-classes" }, ...classPart.filter((part) => part !== null)),
      make("div", { id: "legend-work" }, ...workPart(entry)),
      make("div", { id: "legend-teach" }, ...teachLegend(entry)),
      make("div", { id: "legend-visits" }, ...visitLegend(entry)),
      make(
        "div",
        { id: "legend-lines" },
        make("h3", {}, data.words.legend_rows),
        make(
          "ul",
          { id: "legend-rows" },
          ...methods.flatMap((kind) => [
            ...(kind === GUIDE ? guideEntries(entry) : []),
            ...(kind !== GUIDE || bare ? [entry(sampleRows(kind), data.words[rows[kind]])] : []),
          ]),
        ),
        ...rowRemarks(methods),
      ),
      make("div", { id: "legend-water" }, ...waterPart(entry)),
      make("div", { id: "legend-ground" }, ...groundPart()),
    );
    if (legend.excluded) {
      const cross = entry(sampleCross(), data.words.legend_excluded);
      cross.id = "legend-excluded";
      byId("legend-rows").append(cross);
    }
    byId("legend").open = legendFits();
  }

  function startNotes() {
    fold("cautions", data.cautions.title, listed(data.cautions.texts));
    const sources = data.sources.map((table) => make("li", {}, table.title, listed(table.cited)));
    fold(
      "about",
      data.words.about,
      make("p", {}, data.set_aside),
      ...(data.warnings.length ? [make("h3", {}, data.words.warnings), listed(data.warnings)] : []),
      make("h3", {}, data.words.sources),
      make("p", {}, data.words.sources_lead),
      make("ul", {}, ...sources),
      make("p", {}, data.words.map_notice),
    );
    byId("card-empty").textContent = data.words.card_empty;
    byId("review").textContent = data.words.review;
  }

  // ---------------------------------------------------------------- views

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
    }
    byId("legend-classes").hidden = view !== "steep";
    byId("legend-work").hidden = view !== "first";
    byId("legend-teach").hidden = view !== "teach";
    byId("legend-visits").hidden = view !== "visits";
    byId("legend-lines").hidden = plainly();
    byId("legend-water").hidden = ["buy", "teach", "visits"].includes(view);
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
    byId("legend").open = legendFits() && view !== "buy";
    // The buying view widens the panel, so the map is measured again.
    map.invalidateSize({ animate: false });
    refit();
    fields._update();
    return true;
  }

  function startViews() {
    byId("views").setAttribute("aria-label", data.words.views);
    for (const view of VIEWS) {
      const label = data.words[`view_${view}`];
      const button = make("button", { type: "button", "data-view": view }, label);
      button.addEventListener("click", () => show(view));
      byId("views").append(button);
    }
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

  /* The place in the district of a plot by its id, undefined if there is none. */
  async function placeById(id) {
    if (rowOf.has(id)) return plots.place[rowOf.get(id)];
    return (await finder.ready()).placeOf.get(id);
  }

  async function placeOf(id, level) {
    const place = await placeById(id);
    if (place === undefined) return null;
    await loadVillage(villageOf(place));
    const i = rowOf.get(id);
    close();
    byId("stage").scrollIntoView({ block: "nearest" });
    focusOn(i, level);
    await settled();
    return onScreen(latLngOf(inside[2 * i], inside[2 * i + 1]));
  }

  function onScreen(latlng) {
    const point = map.latLngToContainerPoint(latlng);
    const corner = byId("map").getBoundingClientRect();
    return { x: corner.left + point.x, y: corner.top + point.y };
  }

  function pointOf(longitude, latitude) {
    return onScreen(L.latLng(latitude, longitude));
  }

  async function openById(id) {
    const place = await placeById(id);
    if (place === undefined) return false;
    await openPlace(place, null);
    return true;
  }

  // ---------------------------------------------------------------- start

  const hook = { placeOf, open: openById, close, show, pointOf, settled, take: loader.take };
  window.districtplan = { ready: false, ...hook };
  Object.defineProperty(window.districtplan, "plots", { get: () => finder.ready().then(({ id }) => id) });
  startViews();
  startLegend();
  startSearch();
  if (data.order) startTable("order", data.order, data.words.order_title, data.order.hint);
  startTable("calendar", data.calendar, data.words.calendar_title, data.words.calendar_hint);
  startTotals();
  startWork();
  startTeach();
  startVisits();
  startList();
  startFilter();
  startNotes();
  startMap();
  startPrinting();
  byId("card").setAttribute("aria-labelledby", "card-title");
  byId("village").setAttribute("aria-labelledby", "village-title");
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !event.defaultPrevented && byId("found").hidden) close();
  });
  if (villages.length === 1) tracked(loadVillage(villages[0]).then(redraw).catch(missed));
  show("steep");
  startAddress();
  settled().then(() => {
    window.districtplan.ready = true;
  });
})();
