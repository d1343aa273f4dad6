/*
Who teaches: demonstration plots, their reach, who has none, on the map, in lists, on cards.
*/

const UNREACHED = 7;
const REACH_FILL = "rgba(22, 104, 176, 0.10)";

// Null where the plan asks for no demonstration plots.
const teach = data.teach;

const demoShapes = teach && Object.fromEntries(
  ["reach", "people", "nets", "divides"].map((name) => [name, Packed.lines(teach[name])]),
);

// By place of a plot, its number as a demonstration plot; others' villages may be on another page.
const demoOf = new Map(teach ? teach.plots.filter(({ place }) => place !== null).map(({ place, number }) => [place, number]) : []);

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
    const across = x.subarray(from, to);
    const room = 2 * (Math.max(...across) - Math.min(...across)) * frame.scale;
    context.font = look.font;
    // Wider than its half it would lie over the other's.
    if (context.measureText(words).width > room) return;
    write(context, words, px + frame.east, top - LABEL_GAP, look);
  });
}

const teachOf = new Map(teach ? teach.villages.map((told) => [told.at, told]) : []);
const DEMO_FOLDS = ["demo-list", "demo-villages", "demo-curve", "demo-compared", "demo-out", "demo-how"];

function demoFold({ place, number, id, village, message, said }, at) {
  const show = leading(data.words.demo_show, () => openPlace(place, show));
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
  const show = leading(data.words.show_village, () => openVillage(villages[at]));
  return make("details", { class: "village" }, summary, ...paragraphs(said), show);
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
