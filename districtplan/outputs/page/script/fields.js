/*
Draws plots that are there: fill, edge, rows, number, pegs.
*/

const FADED_EDGE = "#b5a893";
// From these sizes on screen [pixels] a plot gets its edge and its pegs.
const EDGE_FROM = 8;
const PEGS_FROM = 240;
const PEG_RADIUS = 3.5;

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

/* Plots that show paper: no class is told of them, and rows they have none. */
const bare = (i) => empty(i) && !(state.view === "steep" && classOf(i));

function fillPlots(context, rows, frame) {
  for (const i of rows) {
    // One path a plot: in a common one, plots that overlap would blot each other out.
    context.beginPath();
    trace(context, i, frame);
    // Lines of equal height must not be taken for rows of a plot that has none yet.
    context.fillStyle = bare(i) ? PAPER : lookOf(i).fill;
    context.fill("evenodd");
  }
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
    const look = {
      font: `700 ${height}px system-ui, sans-serif`,
      halo: 6,
      fill: bare(i) ? PAPER : lookOf(i).fill,
      ink: bare(i) ? INK : lookOf(i).ink,
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
