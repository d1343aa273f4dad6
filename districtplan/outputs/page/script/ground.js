/*
The ground below the plots: hillshade, tint of heights, lines of equal height, boxes to take them off.
*/

const heights = heightsOf({
  told: data.heights,
  step,
  load: () => tracked(loader.load("heights")),
  redraw: () => redrawHeights(),
  missed,
  inView,
  style: { colour: CONTOUR, label: { font: "600 13px system-ui, sans-serif", halo: 3, fill: PAPER, ink: CONTOUR } },
  write,
  worded: (height) => say("height_value", { m: shown(height) }),
});

/* The south-west and north-east corners of the picture of the ground, in steps. */
function groundCorners() {
  const [west, south, east, north] = data.ground.bounds_deg;
  return [[west, south], [east, north]].map((corner) => planeOf(...corner).map((at, axis) => (at - origin[axis]) / step));
}

/*
On paper the ground is drawn below the plots on their own canvas: one that is drawn anew for
printing is printed as opaque, and would hide whatever lies below it.
*/
function paintGround(context, frame, size, view) {
  context.fillStyle = getComputedStyle(byId("map")).backgroundColor;
  context.fillRect(0, 0, size.x, size.y);
  const [[left, bottom], [right, top]] = groundCorners();
  for (const picture of [ground.tint, ground.shade]) {
    if (!picture || !map.hasLayer(picture)) continue;
    context.globalAlpha = picture.options.opacity;
    const [x, y] = [left * frame.scale + frame.east, frame.north - top * frame.scale];
    context.drawImage(picture.getElement(), x, y, (right - left) * frame.scale, (top - bottom) * frame.scale);
  }
  context.globalAlpha = 1;
  paintTiles(context, frame);
  if (map.hasLayer(contours)) heights.draw(context, frame, size, view, (box) => clear(box, frame));
}

/* Whether there is ground, and nothing stands over it: neither a name nor a plot. */
function clear(box, frame) {
  if (taken.some((other) => other.overlaps(box))) return false;
  const { min, max } = box;
  const west = (min.x - frame.east) / frame.scale;
  const east = (max.x - frame.east) / frame.scale;
  const south = (frame.north - max.y) / frame.scale;
  const north = (frame.north - min.y) / frame.scale;
  const [[left, bottom], [right, top]] = groundCorners();
  if (west < left || east > right || south < bottom || north > top) return false;
  return !villages.some((village) => {
    if (village.west > east || village.east < west || village.bottom > north || village.top < south) return false;
    for (let place = village.start; place < village.end; place++) {
      const [x, y, half] = [dots.x[place], dots.y[place], dots.across[place] / 2];
      if (x + half > west && x - half < east && y + half > south && y - half < north) return true;
    }
    return false;
  });
}

function redrawHeights() {
  if (map.hasLayer(contours)) contours._update();
}

function drawHeights(context, frame, size, view) {
  const apart = heights.draw(context, frame, size, view, (box) => clear(box, frame));
  const told = byId("heights-apart");
  if (told && apart !== null && apart < Infinity) told.textContent = say("legend_heights", { m: shown(apart) });
}

const contours = new Drawing({ padding: 0.15, pane: "ground", name: "contours", draw: drawHeights });

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
    ...tilesPart(),
  ];
}
