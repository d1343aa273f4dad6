/*
The plots that are there, as columns that grow by a village at a time. A plot goes by its number i
in these columns, in the order in which villages came; place[i] is its place in the district, where
plots of a village lie beside one another. No object a plot: they would not bear 100,000.
*/

function plotsOf(frame) {
  const outlines = () => ({ rings: [0], vertices: [0], x: [], y: [], box: [] });
  const lines = () => ({ of: [0], vertices: [0], x: [], y: [] });
  const plots = {
    count: 0,
    id: [],
    place: [],
    sheet: [],
    numbers: {},
    words: {},
    farmer: [],
    beyond: [],
    barred: [],
    steep: [],
    water: [],
    readings: { slope: [], bearing: [] },
    measure: { numbers: {}, words: {} },
    kit: { numbers: {}, words: {} },
    notes: { method: [], check: [], flags: [], excluded: [], same: [], lines: [], pegged: [], teach: [], visits: [], care: { steep: [], feed: [] } },
    inside: [],
    shapes: outlines(),
    land: outlines(),
    landOf: new Map(),
    rightwards: [],
    families: [],
    apart: 0,
    guides: lines(),
    boundaries: lines(),
    curved: { ...lines(), place: [], maize: [], every: 1 },
    pegs: { vertices: [0], x: [], y: [] },
    flow: { vertices: [0], x: [], y: [], area: [], least: [], known: new Set() },
    left: { guides: 0, pegs: 0, flow: 0 },
    rowOf: new Map(),
  };

  const grow = (column, values) => {
    // One by one: a call can't take as many arguments as a village may have points.
    for (const value of values) column.push(value);
  };

  /* Add runs that are told by where each starts. */
  function growStarts(into, counts) {
    for (const count of counts) into.push(into.at(-1) + count);
  }

  function growPoints(into, { vertices, moves }) {
    growStarts(into.vertices, Packed.naturals(vertices));
    const { x, y } = Packed.points(moves);
    grow(into.x, x);
    grow(into.y, y);
  }

  function growOutlines(into, shape) {
    const first = into.rings.length - 1;
    growStarts(into.rings, Packed.naturals(shape.rings));
    growPoints(into, shape);
    for (let at = first; at + 1 < into.rings.length; at++) {
      let [west, south, east, north] = [Infinity, Infinity, -Infinity, -Infinity];
      for (let i = into.vertices[into.rings[at]]; i < into.vertices[into.rings[at + 1]]; i++) {
        west = Math.min(west, into.x[i]);
        east = Math.max(east, into.x[i]);
        south = Math.min(south, into.y[i]);
        north = Math.max(north, into.y[i]);
      }
      into.box.push(west, south, east, north);
    }
  }

  /* Lines of plots; those of a village that would have too many are left out, and counted. */
  function growLines(into, packed, count) {
    growStarts(into.of, packed.lines ? Packed.naturals(packed.lines) : new Array(count).fill(0));
    if (packed.lines) growPoints(into, packed);
  }

  function growColumns(into, packed, count) {
    for (const [name, column] of Object.entries(packed.numbers)) {
      grow((into.numbers[name] ??= []), Packed.numbers(column) ?? new Array(count).fill(null));
    }
    for (const [name, column] of Object.entries(packed.words)) {
      grow((into.words[name] ??= []), Packed.texts(column));
    }
  }

  function growNotes(notes, count) {
    const into = plots.notes;
    const said = (at) => (at === null || at === undefined ? null : notes.texts[at]);
    const all = (places) => places.map(said);
    grow(into.method, notes.method.map(all));
    grow(into.flags, notes.flags.map(all));
    grow(into.check, notes.check);
    grow(into.excluded, notes.excluded.map(said));
    grow(into.same, notes.same.map(said));
    grow(into.teach, notes.teach.map(all));
    grow(into.visits, notes.visits.map(all));
    for (let at = 0; at < count; at++) {
      into.lines.push(all(notes.lines[at] ?? []));
      into.pegged.push(said(notes.pegged[at]));
    }
    for (const kind of ["steep", "feed"]) into.care[kind] = all(notes.care[kind]);
  }

  /* A line that runs past two villages came with the first of them already. */
  function growFlow(packed) {
    const into = plots.flow;
    const { vertices, x, y } = Packed.lines(packed);
    packed.number.forEach((number, line) => {
      if (into.known.has(number)) return;
      into.known.add(number);
      into.area.push(packed.area_ha[line]);
      into.least.push(packed.at_least[line]);
      grow(into.x, x.subarray(vertices[line], vertices[line + 1]));
      grow(into.y, y.subarray(vertices[line], vertices[line + 1]));
      into.vertices.push(into.x.length);
    });
    plots.left.flow += packed.left_out;
  }

  /* Where each plot's number and first row go: a point inside it, in steps. */
  function growInside(from, count) {
    const [east, north] = frame.origin;
    for (let i = from; i < from + count; i++) {
      // As for the outlines: the shorter way round from the origin.
      const turn = plots.numbers.longitude_deg[i] - frame.origin_deg[0];
      const longitude = frame.origin_deg[0] + ((((turn + 180) % 360) + 360) % 360) - 180;
      const [x, y] = frame.planeOf(longitude, plots.numbers.latitude_deg[i]);
      plots.inside.push((x - east) / frame.step, (y - north) / frame.step);
    }
  }

  /* Add a village whose first plot has a place in the district. */
  function add({ plots: packed, flow }, place) {
    const [from, count] = [plots.count, packed.id.length];
    grow(plots.id, packed.id);
    packed.id.forEach((id, at) => {
      plots.place.push(place + at);
      plots.rowOf.set(id, from + at);
      plots.water.push(packed.water[at]);
      plots.readings.slope.push(packed.readings.slope[at]);
      plots.readings.bearing.push(packed.readings.bearing[at]);
      plots.farmer.push(packed.farmer_name ? packed.farmer_name[at] : null);
    });
    grow(plots.sheet, Packed.naturals(packed.sheet));
    for (const name of ["beyond", "barred", "steep"]) grow(plots[name], packed[name]);
    growColumns(plots, packed, count);
    growColumns(plots.measure, packed.measure, count);
    growColumns(plots.kit, packed.kit, count);
    growNotes(packed.notes, count);
    growInside(from, count);
    growOutlines(plots.shapes, packed.shape);
    const lands = plots.land.rings.length - 1;
    packed.rows.planted.forEach((at, land) => plots.landOf.set(from + at, lands + land));
    if (packed.rows.land) growOutlines(plots.land, packed.rows.land);
    grow(plots.rightwards, packed.rows.rightwards);
    [plots.families, plots.apart] = [packed.rows.families, packed.rows.apart_m];
    growLines(plots.guides, packed.guides, count);
    growLines(plots.boundaries, packed.boundaries, count);
    growLines(plots.curved, packed.curved, count);
    grow(plots.curved.place, Packed.naturals(packed.curved.place));
    grow(plots.curved.maize, Packed.naturals(packed.curved.maize));
    plots.curved.every = packed.curved.every;
    const standing = packed.pegs.moves === undefined ? null : packed.pegs;
    if (standing) growPoints(plots.pegs, standing);
    else growStarts(plots.pegs.vertices, new Array(count).fill(0));
    plots.left.guides += packed.guides.left_out;
    plots.left.pegs += packed.pegs.left_out;
    growFlow(flow);
    plots.count += count;
  }

  return { plots, add };
}
