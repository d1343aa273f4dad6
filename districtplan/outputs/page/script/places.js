/*
Where things lie: on the plane, on a canvas, in view, inside an outline.
*/

const CIRCUMFERENCE = 2 * Math.PI * 6378137;
const TILE = 256;

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
