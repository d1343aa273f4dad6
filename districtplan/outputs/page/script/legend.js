/*
The legend: a sample of each thing that is drawn, by the same lines of code as on the map.
*/

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
    ...said.filter((text) => text !== null).map((text) => make("p", { class: "remark" }, text)),
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

/* On a phone and on paper below the map, else beside it, where it hides nothing. */
function placeLegend() {
  if (phone.matches || printing()) byId("stage").append(byId("legend"));
  else byId("filter").before(byId("legend"));
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
      // A page of one village writes no name on the map.
      ...(villages.length > 1 ? [make("p", { id: "legend-by-bearing" }, data.words.legend_by_bearing)] : []),
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
  placeLegend();
  phone.addEventListener("change", placeLegend);
  byId("legend").open = legendFits();
}
