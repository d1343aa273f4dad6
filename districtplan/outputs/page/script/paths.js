/*
Adds outlines and rows to the path of a canvas: rows lie where the rows stage lays them.
*/

// Square of the first eccentricity of the ellipsoid (WGS 84).
const E2 = 0.00669437999014;
// From this size on screen [pixels] guide lines are drawn.
const GUIDES_FROM = 60;
// A guide line's direction holds near the middle only: half the length of its dash [pixels].
const DASH_HALF_MAX = 26;

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
