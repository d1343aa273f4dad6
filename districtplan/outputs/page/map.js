/*
The map of a page of districtplan. It reads the JSON block "data" and draws it; it asks for nothing
else. All text that came from outside is shown by textContent or drawn on a canvas.

For tests, and for people who script, the page offers window.districtplan:

  ready          true once the map is drawn
  plots          ids of all plots, in the order of their file
  placeOf(id, level)
                 closes the card, brings the plot to the middle of the map, large enough to be hit,
                 and gives {x, y}: the place on screen, in CSS pixels from the top left corner of
                 the window, of a point inside the plot; null if there is no such plot. With a
                 level, zooms to it: levels are those of web maps, up to 22, where a pixel is some
                 4 cm and rows stand at their real distance
  open(id)       opens the plot's card; false if there is no such plot
  close()        closes the card
  show(view)     "steep", "rows", "buy", "first" or, where demonstration plots are asked for, "teach"
  pointOf(longitude, latitude)
                 gives {x, y}: the place on screen of a point in degrees, WGS 84

Plots are drawn on one canvas from typed arrays: one map object a plot would not bear 100,000.
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
  const LABEL_GAP = 14;
  const LABEL_MAX = 28;
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
  const CURVE = { width: 380, height: 250, left: 64, right: 14, top: 26, bottom: 46, ticks: 4 };

  // ---------------------------------------------------------------- data

  function unpackVarints(text) {
    const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
    const values = [];
    for (let at = 0; at < bytes.length; ) {
      let value = 0;
      let factor = 1;
      let byte;
      do {
        byte = bytes[at++];
        // Multiplied, not shifted: shifts stop at 32 bits.
        value += (byte & 127) * factor;
        factor *= 128;
      } while (byte & 128);
      values.push(value);
    }
    return values;
  }

  const back = (value) => (value % 2 ? -(value + 1) / 2 : value / 2);

  /* Columns of whole numbers, where 0 stands for what isn't known. */
  function unpackNumbers(numbers) {
    for (const column of Object.values(numbers)) {
      const packed = column.packed === null ? null : unpackVarints(column.packed);
      column.values = packed && packed.map((value) => (value ? back(value - 1) : null));
    }
  }

  function unpackCodes(words) {
    for (const column of Object.values(words)) {
      column.codes = unpackVarints(column.packed).map((value) => (value ? value - 1 : null));
    }
  }

  function startsOf(counts) {
    const starts = new Uint32Array(counts.length + 1);
    counts.forEach((count, i) => {
      starts[i + 1] = starts[i] + count;
    });
    return starts;
  }

  function planeOf(longitude, latitude) {
    const point = L.Projection.SphericalMercator.project(L.latLng(latitude, longitude));
    return [point.x, point.y];
  }

  /* Points in steps from the origin; y grows to the north. */
  function unpackPoints(packed) {
    const vertices = startsOf(unpackVarints(packed.vertices));
    const moves = unpackVarints(packed.moves);
    const x = new Int32Array(moves.length / 2);
    const y = new Int32Array(moves.length / 2);
    for (let i = 0, atX = 0, atY = 0; i < x.length; i++) {
      atX += back(moves[2 * i]);
      atY += back(moves[2 * i + 1]);
      x[i] = atX;
      y[i] = atY;
    }
    return { vertices, x, y };
  }

  function unpackShapes(shape) {
    const rings = startsOf(unpackVarints(shape.rings));
    const { vertices, x, y } = unpackPoints(shape);
    const count = rings.length - 1;
    const box = new Int32Array(4 * count);
    for (let plot = 0; plot < count; plot++) {
      let [west, south, east, north] = [Infinity, Infinity, -Infinity, -Infinity];
      for (let i = vertices[rings[plot]]; i < vertices[rings[plot + 1]]; i++) {
        west = Math.min(west, x[i]);
        east = Math.max(east, x[i]);
        south = Math.min(south, y[i]);
        north = Math.max(north, y[i]);
      }
      box.set([west, south, east, north], 4 * plot);
    }
    return { rings, vertices, x, y, box, step: shape.step_m, origin: planeOf(...shape.origin_deg) };
  }

  const data = JSON.parse(document.getElementById("data").textContent);
  const plots = data.plots;
  const count = plots.count;
  for (const { numbers } of [plots, plots.measure, plots.kit, data.villages, data.district]) unpackNumbers(numbers);
  for (const { words } of [plots, plots.measure, plots.kit]) unpackCodes(words);
  const shapes = unpackShapes(plots.shape);
  const land = plots.rows.land ? unpackShapes(plots.rows.land) : null;
  const landOf = new Map(plots.rows.planted.map((i, at) => [i, at]));
  const guides = plots.guides.lines ? unpackPoints(plots.guides) : null;
  const guidesOf = guides ? startsOf(unpackVarints(plots.guides.lines)) : null;
  const boundaries = plots.boundaries.lines ? unpackPoints(plots.boundaries) : null;
  const boundariesOf = boundaries ? startsOf(unpackVarints(plots.boundaries.lines)) : null;
  const curved = unpackPoints(plots.curved);
  const curvedOf = startsOf(unpackVarints(plots.curved.lines));
  const curvedPlace = unpackVarints(plots.curved.place);
  const curvedMaize = unpackVarints(plots.curved.maize);
  const pegs = plots.pegs.moves === undefined ? null : unpackPoints(plots.pegs);
  const flow = unpackPoints(data.flow);
  const work = data.work;
  const workLines = unpackPoints(work.lines);
  const waterways = unpackPoints(work.waterways);
  const outlets = unpackPoints(work.outlets);
  // Null where the plan asks for no demonstration plots.
  const teach = data.teach;
  const VIEWS = ["steep", "rows", "buy", "first", ...(teach ? ["teach"] : [])];
  const demoShapes = teach && Object.fromEntries(
    ["reach", "people", "nets", "divides"].map((name) => [name, unpackPoints(teach[name])]),
  );
  const demoOf = new Map(teach ? teach.plots.map(([i], at) => [i, at]) : []);
  // By plot, the place of its hillside in the order of work.
  const hillOf = new Map(work.hills.flatMap((hill, at) => hill.plots.map(([i]) => [i, at])));
  const rowOf = new Map(plots.id.map((id, i) => [id, i]));

  function say(key, values = {}) {
    return data.words[key].replace(/\{(\w+)\}/g, (_, name) => values[name]);
  }

  function inNumbers(numbers, name, i) {
    const column = numbers[name];
    const value = column && column.values ? column.values[i] : null;
    return value === null ? null : value / 10 ** column.digits;
  }

  const numberOf = (name, i) => inNumbers(plots.numbers, name, i);

  function wordOf(name, i) {
    const code = plots.words[name].codes[i];
    return code === null ? null : plots.words[name].texts[code];
  }

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

  const method = Array.from({ length: count }, (_, i) => wordOf("row_method", i));
  const excluded = plots.notes.excluded;
  // Not for beans, or an outlet for water comes first: nothing is laid out there.
  const barred = (i) => plots.barred[i] === 1;
  const guideKind = Array.from({ length: count }, (_, i) => wordOf("guide_kind", i));
  // Where no curve is drawn from the raster, someone must go and find the level, as where nothing
  // is known.
  const toFind = (i) => method[i] === MEASURE || guideKind[i] === NO_CURVE;
  // Where to work, and who teaches, is shown alike on all plots.
  const plainly = () => state.view === "first" || state.view === "teach";
  const empty = (i) => toFind(i) && !plainly();
  const hasGuides = (i) => guides !== null && guidesOf[i + 1] > guidesOf[i] && !barred(i);
  const classColumn = data.colour_by === "slope" ? "slope_class_number" : "erosion_class_number";
  const classAt = new Map(data.classes.map((entry) => [entry.number, entry]));
  const classOf = (i) => classAt.get(numberOf(classColumn, i)) || null;

  // Where each plot's number and first row go: a point inside it, in steps.
  const inside = new Float64Array(2 * count);
  for (let i = 0; i < count; i++) {
    // As for the outlines: the shorter way round from the origin.
    const turn = numberOf("longitude_deg", i) - plots.shape.origin_deg[0];
    const longitude = plots.shape.origin_deg[0] + ((((turn + 180) % 360) + 360) % 360) - 180;
    const [x, y] = planeOf(longitude, numberOf("latitude_deg", i));
    inside[2 * i] = (x - shapes.origin[0]) / shapes.step;
    inside[2 * i + 1] = (y - shapes.origin[1]) / shapes.step;
  }

  function latLngOf(x, y) {
    const plane = L.point(shapes.origin[0] + x * shapes.step, shapes.origin[1] + y * shapes.step);
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

  const villages = data.villages.names.map((name) => ({ name, rows: [] }));
  const villageAt = new Map(villages.map((village) => [village.name, village]));
  for (let i = 0; i < count; i++) villageAt.get(wordOf("village", i)).rows.push(i);
  for (const village of villages) {
    let [west, south, east, north] = [Infinity, Infinity, -Infinity, -Infinity];
    for (const i of village.rows) {
      west = Math.min(west, shapes.box[4 * i]);
      south = Math.min(south, shapes.box[4 * i + 1]);
      east = Math.max(east, shapes.box[4 * i + 2]);
      north = Math.max(north, shapes.box[4 * i + 3]);
    }
    Object.assign(village, { west, east, top: north, bottom: south, middle: (west + east) / 2 });
  }

  // ---------------------------------------------------------------- page

  const state = { view: "steep", open: null, opener: null, framed: null };
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
    const scale = ((TILE * 2 ** zoom) / CIRCUMFERENCE) * shapes.step;
    const world = TILE * 2 ** zoom;
    return {
      scale,
      east: (shapes.origin[0] / CIRCUMFERENCE + 0.5) * world - corner.x,
      north: (0.5 - shapes.origin[1] / CIRCUMFERENCE) * world - corner.y,
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
    const east = Math.sqrt(flat) / Math.cos(latitude) / shapes.step;
    const north = flat ** 1.5 / (1 - E2) / Math.cos(latitude) / shapes.step;
    const [x, y] = [Math.sin(bearing) * east, Math.cos(bearing) * north];
    return [Math.atan2(x, y), (east * north) / Math.hypot(x, y)];
  }

  /* Land that is planted: the outline but for margins and what takes land. */
  function plantedOf(i) {
    return landOf.has(i) ? { ...land, i: landOf.get(i) } : { ...shapes, i };
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
    const { apart_m: apart, families } = plots.rows;
    // Steps on the map for a metre on the ground, down the slope.
    const step = (metre * numberOf("row_spacing_map_m", i)) / apart;
    const outline = plantedOf(i);
    const side = plots.rows.rightwards[i] ? 1 : -1;
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
    const pixels = metre * numberOf("row_spacing_map_m", i) * plots.curved.every * frame.scale;
    const thinned = thinning(STRAIGHT, pixels);
    for (let line = curvedOf[i]; line < curvedOf[i + 1]; line++) {
      if (curvedPlace[line] % thinned || (curvedMaize[line] === 1) !== (crop === "maize")) continue;
      traceLine(context, curved, line, frame);
    }
  }

  /* Lines of dots that run anywhere: no direction is meant. */
  function traceDots(context, i, frame) {
    const [bearing, metre] = onPlane(i, Math.PI / 2);
    const gap = metre * plots.rows.apart_m;
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

  const dashed = (i, frame) => method[i] === GUIDE && !barred(i) && !toFind(i) && !guided(i, frame);

  function lookOf(i) {
    if (state.view === "first") return hillOf.has(i) ? work.look : data.plain;
    if (state.view === "teach") return demoOf.has(i) ? teach.look : data.plain;
    const found = state.view === "steep" ? classOf(i) : null;
    return found || data.plain;
  }

  function fillPlots(context, rows, frame) {
    const tiny = new Map();
    for (const i of rows) {
      const bare = empty(i);
      if (bare && sizeOf(i, frame) >= EDGE_FROM) continue;
      const fill = bare ? PAPER : lookOf(i).fill;
      if (sizeOf(i, frame) < SHAPE_FROM) {
        if (!tiny.has(fill)) tiny.set(fill, []);
        tiny.get(fill).push(i);
        continue;
      }
      // One path a plot: in a common one, plots that overlap would blot each other out.
      context.beginPath();
      trace(context, i, frame);
      context.fillStyle = fill;
      context.fill("evenodd");
    }
    for (const [fill, small] of tiny) {
      context.fillStyle = fill;
      for (const i of small) {
        const [west, , east, north] = shapes.box.subarray(4 * i, 4 * i + 4);
        const size = Math.max(1.5, (east - west) * frame.scale);
        context.fillRect(west * frame.scale + frame.east, frame.north - north * frame.scale, size, size);
      }
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
    const straight = sized.filter((i) => method[i] === STRAIGHT && numberOf("row_bearing_true_deg", i) !== null);
    const thin = state.view === "rows" ? 1.2 : 0.9;
    const drawn = sized.filter((i) => guided(i, frame));
    for (const [crop, width] of [["beans", thin], ["maize", 2.5 * thin]]) {
      strokeInks(context, straight, { width }, (i) => traceRows(context, i, frame, crop));
      strokeInks(context, drawn, { width }, (i) => traceCurved(context, i, frame, crop));
    }
    const any = sized.filter((i) => method[i] === ANY);
    strokeInks(context, any, { width: 2, cap: "round", dash: DOTS }, (i) => traceDots(context, i, frame));
    const short = sized.filter((i) => dashed(i, frame));
    strokeInks(context, short, { width: GUIDE_WIDTH }, (i) => traceDash(context, i, frame));
    for (const dash of [[], LEVEL_DASH]) {
      const alike = drawn.filter((i) => (guideKind[i] === LEVELLED) === dash.length > 0);
      strokeInks(context, alike, { width: GUIDE_WIDTH, dash }, (i) => {
        for (let line = guidesOf[i]; line < guidesOf[i + 1]; line++) traceLine(context, guides, line, frame);
      });
    }
    const parted = boundaries ? drawn : [];
    strokeInks(context, parted, { width: PART_WIDTH, dash: PART_DASH }, (i) => {
      for (let line = boundariesOf[i]; line < boundariesOf[i + 1]; line++) traceLine(context, boundaries, line, frame);
    });
  }

  /* From the least area that makes a line on, a third wider each time it grows threefold. */
  function flowWidth(area) {
    const least = data.flow.area_ha.at(-1) || 1;
    return Math.min(FLOW_WIDTHS[1], FLOW_WIDTHS[0] * (Math.max(1, area / least) ** 0.25));
  }

  /* Water, over a light edge, so that it is seen on dark land too. */
  function strokeFlow(context, frame, size) {
    context.lineCap = "butt";
    context.lineJoin = "round";
    data.flow.area_ha.forEach((area, line) => {
      if (!crosses(flow, line, frame, size)) return;
      context.beginPath();
      traceLine(context, flow, line, frame);
      context.lineWidth = flowWidth(area) + 2;
      context.strokeStyle = PAPER;
      context.stroke();
      context.setLineDash(data.flow.at_least[line] ? FLOW_DASH : []);
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
      write(context, words, px + frame.east, top - LABEL_GAP, look);
    });
  }

  /* Until plots are large enough for them, numbers stand over plots: each number over its first. */
  function writeRanks(context, frame, view, ranked) {
    const taken = covered(view);
    ranked.forEach((first, at) => {
      const px = inside[2 * first] * frame.scale + frame.east;
      const py = frame.north - inside[2 * first + 1] * frame.scale;
      const room = RANK_RADIUS + 1;
      const box = L.bounds([px - room, py - room], [px + room, py + room]);
      if (taken.some((other) => other.overlaps(box))) return;
      taken.push(box);
      context.beginPath();
      context.arc(px, py, RANK_RADIUS, 0, 2 * Math.PI);
      Object.assign(context, { fillStyle: INK, strokeStyle: PAPER, lineWidth: 2 });
      context.fill();
      context.stroke();
      const look = { font: "700 15px system-ui, sans-serif", halo: 0.01, fill: INK, ink: PAPER };
      write(context, String(at + 1), px, py + 1, look);
    });
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

  /* What stands in a plot: a number, or a cross on land that is not for beans. */
  function markOf(i) {
    if (state.view === "first") return hillOf.has(i) ? String(hillOf.get(i) + 1) : null;
    if (state.view === "teach") return demoOf.has(i) ? String(demoOf.get(i) + 1) : null;
    if (state.view !== "steep") return excluded[i] === null ? null : CROSS;
    const found = classOf(i);
    return found && String(found.number);
  }

  /* At the inside point; beside a dash or a guide line, not on it, where the plot has room. */
  function placeOfMark(i, away) {
    const [x, y] = [inside[2 * i], inside[2 * i + 1]];
    if (plainly()) return [x, y];
    if (method[i] !== GUIDE || barred(i) || toFind(i)) return [x, y];
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

  const pegsOf = (i) => (pegs === null || barred(i) ? 0 : pegs.vertices[i + 1] - pegs.vertices[i]);

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

  const teachAt = new Map(teach ? teach.villages.map(([name], at) => [name, at]) : []);

  function villageLabel(village, at) {
    const seed = inNumbers(data.villages.numbers, "seed_g", at);
    const holes = inNumbers(data.villages.numbers, "holes", at);
    if (state.view === "teach") {
      const [, , reached, farmers] = teach.villages[teachAt.get(village.name)];
      return [village.name, say("demo_village_label", { reached: shown(reached), farmers: shown(farmers) })];
    }
    if (state.view !== "buy") return [village.name];
    if (seed !== null) return [village.name, `${say("seed")} ${say("kg", { kg: kilograms(seed) })}`];
    return [village.name, `${say("holes")} ${shown(holes)}`];
  }

  function shortened(text) {
    return text.length > LABEL_MAX ? `${text.slice(0, LABEL_MAX - 1)}…` : text;
  }

  // Villages that the finding names come first, then the largest.
  const named = (at) => data.villages_named.indexOf(villages[at].name) + 1 || Infinity;
  const labelOrder = villages
    .map((_, at) => at)
    .sort((a, b) => named(a) - named(b) || villages[b].rows.length - villages[a].rows.length);

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

  /* Plots that numbers stand over, in their order; null in views that have none. */
  function rankedPlots() {
    if (state.view === "first") return work.hills.map((hill) => hill.plots[0][0]);
    return state.view === "teach" ? teach.plots.map(([i]) => i) : null;
  }

  function drawPlots(context, frame, size, view) {
    const rows = [];
    const box = shapes.box;
    let largest = 0;
    for (let i = 0; i < count; i++) {
      const seen =
        box[4 * i] * frame.scale + frame.east < size.x &&
        box[4 * i + 2] * frame.scale + frame.east > 0 &&
        frame.north - box[4 * i + 3] * frame.scale < size.y &&
        frame.north - box[4 * i + 1] * frame.scale > 0;
      if (seen) {
        rows.push(i);
        largest += sizeOf(i, frame);
      }
    }
    const typical = rows.length ? largest / rows.length : 0;
    if (state.view === "teach") fillReach(context, frame);
    fillPlots(context, rows, frame);
    if (typical >= SHAPE_FROM) {
      if (!plainly()) strokeRows(context, rows, frame);
      if (typical >= ROWS_FROM && state.view !== "buy" && state.view !== "teach") strokeFlow(context, frame, size);
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
    const ranked = rankedPlots();
    const taken = ranked && typical < NUMBER_FROM ? writeRanks(context, frame, view, ranked) : covered(view);
    if (typical < 2 * NUMBER_FROM || state.view === "buy") writeVillages(context, frame, size, view, taken);
    return typical;
  }

  /* One canvas over the view and a margin. The map library moves and scales it between redraws. */
  const Fields = L.Renderer.extend({
    _initContainer() {
      this._container = make("canvas", { class: "fields", "aria-hidden": "true" });
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
      const typical = drawPlots(context, frameOf(this._map.getZoom(), corner), size, view);
      this.fire("drawn", { typical });
    },
  });

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
  const fields = new Fields({ padding: 0.15 });

  function control(position, element) {
    L.DomEvent.disableClickPropagation(element);
    const Control = L.Control.extend({ onAdd: () => element });
    new Control({ position }).addTo(map);
  }

  function legendWidth() {
    const legend = byId("legend");
    const aside = !phone.matches && !document.body.classList.contains("printing");
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

  function startMap() {
    byId("map").setAttribute("aria-label", data.words.map);
    const [west, south, east, north] = data.ground.bounds_deg;
    fit(boundsOf(plots.id.keys()));
    const ground = L.imageOverlay(data.ground.image, [[south, west], [north, east]], {
      alt: "",
      // The paper below shines through: that makes the grey warm.
      opacity: data.ground.opacity,
    });
    ground.addTo(map);
    // Wide enough not to pull the map back from where the legend left it room.
    map.setMaxBounds(boundsOf(plots.id.keys()).extend(ground.getBounds()).pad(2));
    map.setMinZoom(Math.max(3, Math.floor(map.getZoom()) - 2));
    const titles = { zoomInTitle: data.words.zoom_in, zoomOutTitle: data.words.zoom_out };
    L.control.zoom({ position: "topright", ...titles }).addTo(map);
    L.control.scale({ imperial: false, position: phone.matches ? "topleft" : "bottomright" }).addTo(map);
    const whole = make("button", { type: "button", class: "whole" }, data.words.whole);
    whole.addEventListener("click", () => fit(boundsOf(plots.id.keys())));
    control(phone.matches ? "bottomright" : "topright", whole);
    const hint = make("div", { class: "zoom-hint" }, data.words.zoom_hint);
    control("bottomright", hint);
    fields.on("drawn", ({ typical }) => {
      const said = { first: data.words.zoom_hint_first, teach: data.words.zoom_hint_teach };
      hint.textContent = said[state.view] || data.words.zoom_hint;
      hint.hidden = typical >= (state.view === "teach" ? HALVES_FROM : ROWS_FROM);
    });
    fields.addTo(map);
    map.on("movestart", () => {
      state.framed = null;
    });
    map.on("resize", refit);
    map.on("click", (event) => {
      const found = plotAt(event.latlng);
      if (found === null) close();
      else open(found, byId("map"));
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

  /* The smallest plot under a point; failing that the nearest one within a finger's reach. */
  function plotAt(latlng) {
    const [planeX, planeY] = planeOf(latlng.lng, latlng.lat);
    const px = (planeX - shapes.origin[0]) / shapes.step;
    const py = (planeY - shapes.origin[1]) / shapes.step;
    const reach = 14 / frameOf(map.getZoom(), L.point(0, 0)).scale;
    let best = null;
    let least = Infinity;
    let near = null;
    let distance = reach;
    for (let i = 0; i < count; i++) {
      const [west, south, east, north] = shapes.box.subarray(4 * i, 4 * i + 4);
      if (px < west - reach || px > east + reach || py < south - reach || py > north + reach) continue;
      const away = Math.hypot(inside[2 * i] - px, inside[2 * i + 1] - py);
      if (away < distance) [near, distance] = [i, away];
      const size = (east - west) * (north - south);
      if (size < least && holds(i, px, py)) [best, least] = [i, size];
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
    if (how !== undefined && method[i] !== ANY) {
      const read = { true: wordOf("row_bearing_true_deg_text", i), how };
      return withCheck(line("bearing", say("bearing_read", read), true), i);
    }
    if (method[i] === ANY) return line("bearing", data.words.bearing_any, true);
    if (method[i] === MEASURE) return line("bearing", data.words.bearing_measure, true);
    const text = say("bearing_value", { true: wordOf("row_bearing_true_deg_text", i), se: seOf(i) });
    const entry = line("bearing", text, true);
    if (method[i] === GUIDE && !barred(i)) {
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
    const hasBearing = !barred(i) && (method[i] === STRAIGHT || method[i] === GUIDE);
    const laid = excluded[i] === null ? "method_later" : "method_excluded";
    const key = barred(i) ? laid : `method_${method[i].replace(/ /g, "_")}`;
    return [
      line("bearing_words", hasBearing && words !== null ? say("bearing_words_value", { words }) : null),
      declinationLine(i),
      line("method", data.words[key]),
      ...(barred(i) ? [] : [guideLine(i), ...laidLines(i)]),
      ...waterLines(i),
    ];
  }

  function guideLine(i) {
    if (guideKind[i] === null) return null;
    const count = shown(numberOf("guide_lines", i) || 0);
    return line("guide", say(`guide_${guideKind[i].replace(/ /g, "_")}`, { count }));
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
    if (pegged !== undefined) return line("first_peg", plots.notes.texts[pegged]);
    const start = numberOf("first_row_start_m", i);
    const corner = { m: shown(start, 1), way: wordOf("first_row_way", i), corner: wordOf("first_row_corner", i) };
    return line("first_row", start === null || method[i] !== STRAIGHT ? null : say("first_row_value", corner));
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

  const measureWord = (name, i) => plots.measure.words[name].texts[plots.measure.words[name].codes[i]] ?? null;

  /* What to do first against soil loss: whoever stands on the plot has to find it on top. */
  function firstLines(i) {
    const at = hillOf.get(i);
    const place = at === undefined ? null : { rank: shown(at + 1), name: work.hills[at].name };
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
    const whose = line("kit_line", words.order_line.texts[words.order_line.codes[i]]);
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
    const farmer = plots.farmer_name ? plots.farmer_name[i] : null;
    return [
      line("farmer", farmer),
      line("area", say("area_value", { ha: shown(ha, 2), m2: shown(10 * Math.round(ha * 1000)) })),
      line("height", say("height_value", { m: shown(numberOf("elevation_mean_m", i)) })),
      // Plain digits, so that they can be pasted anywhere.
      line("place", `${latitude.toFixed(5)}, ${longitude.toFixed(5)}`),
    ];
  }

  /* Where guide lines start, and how many rows lie between them. */
  function linesOf(i) {
    const said = (plots.notes.lines[i] ?? []).map((at) => plots.notes.texts[at]);
    return said.length ? make("div", { class: "guide-lines" }, listed(said)) : null;
  }

  function notesOf(i) {
    const sentences = plots.notes.flags[i].map((at) => plots.notes.texts[at]);
    // That a plot is not for beans stands first of its flags, and on top of the card already.
    if (excluded[i] !== null) sentences.shift();
    else if (!sentences.length) return make("p", {}, data.words.no_notes);
    if (!sentences.length) return null;
    return make("div", { class: "notes" }, make("h3", {}, data.words.notes_heading), listed(sentences));
  }

  function careOf(i) {
    const care = plots.notes.care;
    const steep = plots.steep[i] || method[i] === GUIDE;
    const said = [...(steep ? care.steep : []), ...care.feed].map((at) => plots.notes.texts[at]);
    if (!said.length) return null;
    return make("div", { class: "take-care" }, make("h3", {}, data.words.care_heading), listed(said));
  }

  function fillCard(i) {
    const list = (lines) => make("dl", {}, ...lines.filter((entry) => entry !== null));
    const first = firstLines(i);
    const paragraph = (at, name) => (at === null ? null : make("p", { class: name }, plots.notes.texts[at]));
    const parts = [
      make(
        "header",
        {},
        make("h2", { id: "card-title" }, say("card_plot", { id: plots.id[i] })),
        make("button", { type: "button", onclick: () => close() }, data.words.close),
      ),
      paragraph(excluded[i], "stop"),
      make("p", { class: "place" }, wordOf("village", i)),
      state.view === "teach" ? teachPart(i) : null,
      first.length ? make("section", { class: "first" }, make("h3", {}, data.words.first_heading), list(first)) : null,
      list([slopeLine(i), bearingLine(i), magneticLine(i)]),
      make("p", { class: "method" }, plots.notes.method[i].map((at) => plots.notes.texts[at]).join(" ")),
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
      make("h3", {}, data.words.place_heading),
      list(placeLines(i)),
      careOf(i),
    ];
    byId("card").replaceChildren(...parts.filter((part) => part !== null));
  }

  function open(i, opener) {
    fillCard(i);
    state.open = i;
    state.opener = opener;
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
    byId("card").hidden = true;
    byId("card-empty").hidden = false;
    document.body.classList.remove("card-open");
    fields._update();
    if (back && back.isConnected) back.focus({ preventScroll: true });
  }

  // ---------------------------------------------------------------- search

  const lower = { ids: null, villages: null };

  function find(text) {
    const wanted = text.trim().toLowerCase();
    if (!wanted) return [];
    lower.ids = lower.ids || plots.id.map((id) => id.toLowerCase());
    lower.villages = lower.villages || villages.map((village) => village.name.toLowerCase());
    const ranked = [[], [], [], []];
    const rank = (name, entry, first) => {
      const at = name.indexOf(wanted);
      if (at >= 0) ranked[first + (at > 0 ? 2 : 0)].push(entry);
    };
    lower.villages.forEach((name, at) => rank(name, { village: at }, 0));
    lower.ids.forEach((name, at) => rank(name, { plot: at }, 1));
    return ranked.flat();
  }

  function goTo(entry, opener) {
    if (entry.plot !== undefined) open(entry.plot, opener);
    else fit(boundsOf(villages[entry.village].rows));
  }

  function resultItem(entry, at) {
    const village = villages[entry.village];
    const texts = village
      ? [village.name, say("village_result", { count: shown(village.rows.length) })]
      : [plots.id[entry.plot], wordOf("village", entry.plot)];
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

    function refresh() {
      const found = find(input.value);
      entries = found.slice(0, FOUND_MAX);
      list.replaceChildren(...entries.map(resultItem));
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
    input.addEventListener("input", refresh);
    input.addEventListener("focus", () => input.value && refresh());
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

  function plotButton(i) {
    const found = classOf(i);
    const tag = found ? make("span", { class: "tag" }, String(found.number)) : null;
    const button = make("button", { type: "button" }, plots.id[i], tag);
    button.addEventListener("click", () => open(i, button));
    return button;
  }

  function villageFold(village, at) {
    const steep = inNumbers(data.villages.numbers, "plots_steep", at);
    const size = village.rows.length;
    const counts = [size === 1 ? data.words.village_plot : say("village_plots", { count: shown(size) })];
    if (steep) counts.push(say("village_steep", { count: shown(steep) }));
    const tokens = make("div", { class: "tokens" });
    const summary = make("summary", {}, village.name, make("small", {}, counts.join(" · ")));
    const element = make("details", { class: "village" }, summary, tokens);
    element.addEventListener("toggle", () => {
      if (!element.open || tokens.children.length) return;
      const show = make("button", { type: "button" }, data.words.show_village);
      show.addEventListener("click", () => goTo({ village: at }, show));
      tokens.append(show);
      tokens.after(inPieces(tokens, village.rows, plotButton));
    });
    return element;
  }

  function startList() {
    const holder = make("div");
    const more = inPieces(holder, villages, villageFold);
    fold("list", data.words.list_title, holder, more);
  }

  function totalsCells(totals, names, at) {
    return names.map((name) => {
      const value = inNumbers(totals.numbers, name, at);
      if (value === null) return make("td");
      const written = name.endsWith("_g") ? kilograms(value) : shown(value, name === "area_ha" ? 1 : 0);
      return make("td", {}, written);
    });
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
    const sums = data.district.numbers;
    const names = Object.keys(sums).filter((name) => inNumbers(sums, name, 0) !== null);
    const head = [data.words.totals_village, ...names.map((name) => data.words[`totals_${name}`])];
    const body = make("tbody");
    const all = make("tr", { class: "all" }, make("th", { scope: "row" }, data.words.totals_district));
    all.append(...totalsCells(data.district, names, 0));
    body.append(all);
    const table = make(
      "table",
      {},
      make("thead", {}, make("tr", {}, ...head.map((text) => make("th", { scope: "col" }, text)))),
      body,
    );
    const more = inPieces(body, villages, (village, at) =>
      make("tr", {}, make("th", { scope: "row" }, village.name), ...totalsCells(data.villages, names, at)),
    );
    const region = { class: "wide", tabindex: "0", role: "region", "aria-label": data.words.totals };
    const wide = make("div", region, table);
    const hint = `${data.order.served} ${data.words.totals_hint}`;
    fold("totals", data.words.totals, make("p", { class: "hint" }, hint), wide, more);
  }

  // ---------------------------------------------------------------- where to work first

  function hillFold(hill, at) {
    const show = make("button", { type: "button" }, data.words.work_show);
    show.addEventListener("click", () => {
      fit(boundsOf(hill.plots.map(([i]) => i)));
      byId("stage").scrollIntoView({ block: "nearest" });
    });
    const steps = hill.steps.map(([said, season, facts]) =>
      make("li", {}, said, make("small", {}, [facts, season].filter((part) => part).join("; "))),
    );
    const rows = hill.plots.map(([i, measure, why]) =>
      make("li", {}, plotButton(i), make("small", {}, `${measure}: ${why}`)),
    );
    const rank = make("span", { class: "rank" }, shown(at + 1));
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
    const ruledOut = work.vetoes.map(([i, said]) => make("li", {}, plotButton(i), make("small", {}, said)));
    const vetoes = ruledOut.length ? [make("h3", {}, data.words.work_vetoes), make("ul", { class: "plain" }, ...ruledOut)] : [];
    fold("work", data.words.work_title, lead, holder, more, ...(left ? [left] : []), ...vetoes, ...work.lead.map((said) => make("p", {}, said)));
    const walk = work.walk.map(([i, why]) => make("li", {}, plotButton(i), make("small", {}, why)));
    const listOf = walk.length ? make("ol", { class: "plain" }, ...walk) : make("p", {}, data.words.walk_none);
    fold("walk", data.words.walk_title, listOf);
    const { points, said } = work.curve;
    const [yours, top, alt] = [data.words.curve_yours, data.words.curve_saved, data.words.curve_alt];
    const drawing = () => curvePicture({ ...work.curve, mark: work.curve.budget, yours, top, alt });
    const picture = points.length > 1 ? [make("p", {}, said), drawing()] : [make("p", {}, data.words.curve_none)];
    fold("curve", data.words.curve_title, ...work.chosen.map((each) => make("p", {}, each)), ...picture);
    fold("first-care", data.words.first_cautions, listed(work.care));
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

  function demoFold([i, id, message, said], at) {
    const show = make("button", { type: "button" }, data.words.demo_show);
    show.addEventListener("click", () => open(i, show));
    const rank = make("span", { class: "rank" }, shown(at + 1));
    const summary = make("summary", {}, rank, `${id}: ${message}`, make("small", {}, wordOf("village", i)));
    return make("details", at ? { class: "hill" } : { class: "hill", open: "" }, summary, show, ...paragraphs(said));
  }

  function teachVillageFold([village, said, reached, farmers]) {
    const here = teach.plots.filter(([i]) => wordOf("village", i) === village).length;
    const counts = [say("demo_village", { reached: shown(reached), farmers: shown(farmers) })];
    if (here) counts.push(say("demo_village_plots", { count: shown(here) }));
    const summary = make("summary", {}, village, make("small", {}, counts.join(" · ")));
    const show = make("button", { type: "button" }, data.words.show_village);
    show.addEventListener("click", () => fit(boundsOf(villageAt.get(village).rows)));
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
    const { points, said, rows, unit, now } = teach.curve;
    const [yours, top, alt] = [data.words.demo_curve_yours, data.words.demo_curve_farmers, data.words.demo_curve_alt];
    const drawing = () => [
      curvePicture({ points, mark: now, unit, said, yours, top, alt }),
      plainTable([unit, top, data.words.demo_gain], rows),
      make("p", {}, said),
    ];
    fold("demo-curve", data.words.demo_curve, ...(points.length > 1 ? drawing() : paragraphs([data.words.demo_curve_none])));
    fold("demo-compared", data.words.demo_compared, ...paragraphs(teach.compared.length ? teach.compared : [data.words.demo_none]));
    const messages = [...new Set(teach.left_out.map(([message]) => message))];
    const reasons = messages.flatMap((message) => [
      make("h3", {}, message),
      listed(
        teach.left_out
          .filter(([name]) => name === message)
          .map(([, reason, count, alone]) => say("demo_out_line", { reason, count, alone })),
      ),
    ]);
    fold("demo-out", data.words.demo_out, make("p", { class: "hint" }, data.words.demo_out_hint), ...reasons);
    fold("demo-how", data.words.demo_how, ...paragraphs(teach.how));
  }

  /* To be read aloud: why the plot is or isn't one, what is flagged, its kit, what would change it. */
  function teachPart(i) {
    if (!teach) return null;
    const why = teach.why.of[i].map((at) => teach.why.texts[at]);
    const flags = plots.notes.flags[i].map((at) => plots.notes.texts[at]).join(" ");
    const title = demoOf.has(i) ? data.words.demo_is : data.words.demo_is_not;
    return make(
      "section",
      { class: "teach" },
      make("h3", {}, title),
      ...paragraphs(why),
      make("p", {}, flags ? say("demo_flagged", { flags }) : data.words.demo_not_flagged),
      make("p", {}, kitSaid(i)),
    );
  }

  function kitSaid(i) {
    const { words, numbers } = plots.kit;
    const line = words.order_line.texts[words.order_line.codes[i]];
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
    const kinds = new Set(guideKind.filter((_, i) => hasGuides(i)));
    const levelled = kinds.delete(LEVELLED);
    const bow = "M7 18 Q24 4 41 13";
    const style = { width: GUIDE_WIDTH, colour: INK };
    return [
      ...(kinds.size ? [entry(samplePath(bow, style), data.words.legend_arc)] : []),
      ...(levelled ? [entry(samplePath(bow, { ...style, dash: LEVEL_DASH }), data.words.legend_level)] : []),
      ...(boundaries && boundariesOf.at(-1)
        ? [entry(samplePath("M24 4 L24 22", { width: PART_WIDTH, colour: INK, dash: PART_DASH }), data.words.legend_parts)]
        : []),
    ];
  }

  function waterPart(entry) {
    const { area_ha: areas, at_least: least, left_out: left } = data.flow;
    if (!areas.length) return [];
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
      ...(left ? [make("p", {}, say("legend_flow_left_out", { count: shown(left) }))] : []),
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
        entry(chosen, data.words.legend_demo),
        make("li", {}, make("span", {}, data.words.legend_counts)),
        entry(ring, data.words.legend_reach),
        ...(demoShapes.people.x.length ? [entry(square, data.words.legend_unreached)] : []),
        ...(demoShapes.nets.x.length ? [entry(halves, data.words.legend_halves)] : []),
      ),
      ...(left ? [make("p", {}, say("legend_unreached_left", { count: shown(left) }))] : []),
    ];
  }

  /* What is drawn only from some size on, or stands for more, or is left out. */
  function rowRemarks(methods) {
    const left = plots.guides.left_out;
    return [
      methods.includes(STRAIGHT) || curvedPlace.length ? data.words.legend_thinned : null,
      plots.rows.families.some((family) => family.crop === "maize") ? data.words.legend_maize : null,
      method.some((_, i) => hasGuides(i)) ? data.words.legend_guides_zoom : null,
      left ? say("legend_guides_left_out", { count: shown(left) }) : null,
      method.some((_, i) => pegsOf(i)) ? data.words.legend_pegs : null,
      plots.barred.includes(1) ? data.words.legend_barred : null,
      plots.pegs.left_out ? say("legend_pegs_left_out", { count: shown(plots.pegs.left_out) }) : null,
    ].filter((text) => text !== null);
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

  function startLegend() {
    const entry = (picture, text) => make("li", {}, picture, make("span", {}, text));
    const bySlope = data.colour_by === "slope";
    const seen = new Set(Array.from({ length: count }, (_, i) => numberOf(classColumn, i)));
    const classes = data.classes.filter((found) => seen.has(found.number));
    const drawnAs = new Set(method.map((kind, i) => (toFind(i) ? MEASURE : kind)));
    const methods = METHODS.filter((kind) => drawnAs.has(kind));
    // Where every plot has its guide lines, a remark tells of the dash that stands for them.
    const bare = method.some((kind, i) => kind === GUIDE && !toFind(i) && !hasGuides(i) && !barred(i));
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
        bySlope && plots.beyond.includes(1) ? entry(sample(doubleEdge), data.words.legend_beyond) : "",
      ),
    ];
    fold(
      "legend",
      data.words.legend,
      make("div", { id: "legend-classes" }, ...classPart.filter((part) => part !== null)),
      make("div", { id: "legend-work" }, ...workPart(entry)),
      make("div", { id: "legend-teach" }, ...teachLegend(entry)),
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
        ...rowRemarks(methods).map((text) => make("p", {}, text)),
      ),
      make("div", { id: "legend-water" }, ...waterPart(entry)),
      make("p", {}, data.words.legend_ground),
    );
    if (excluded.some((at) => at !== null)) {
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
    byId("legend-lines").hidden = plainly();
    byId("legend-water").hidden = view === "buy" || view === "teach";
    const cross = byId("legend-excluded");
    if (cross) cross.hidden = view === "steep";
    byId("order").open = view === "buy";
    byId("calendar").hidden = view !== "buy";
    byId("order").hidden = view !== "buy";
    byId("totals").open = view === "buy";
    for (const id of ["work", "walk", "curve", "first-care"]) {
      byId(id).hidden = view !== "first";
      byId(id).open = view === "first";
    }
    for (const id of DEMO_FOLDS) {
      byId(id).hidden = view !== "teach";
      byId(id).open = id === "demo-list" || id === "demo-villages" || id === "demo-curve";
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

  function placeOf(id, level) {
    const i = rowOf.get(id);
    if (i === undefined) return null;
    close();
    byId("stage").scrollIntoView({ block: "nearest" });
    focusOn(i, level);
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

  function openById(id) {
    if (!rowOf.has(id)) return false;
    open(rowOf.get(id), null);
    return true;
  }

  const hook = { placeOf, open: openById, close, show, pointOf };
  window.districtplan = { ready: false, plots: plots.id, ...hook };
  startViews();
  startLegend();
  startSearch();
  startTable("order", data.order, data.words.order_title, data.order.hint);
  startTable("calendar", data.calendar, data.words.calendar_title, data.words.calendar_hint);
  startTotals();
  startWork();
  startTeach();
  startList();
  startNotes();
  startMap();
  startPrinting();
  byId("card").setAttribute("aria-labelledby", "card-title");
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !event.defaultPrevented && byId("found").hidden) close();
  });
  show("steep");
  window.districtplan.ready = true;
})();
