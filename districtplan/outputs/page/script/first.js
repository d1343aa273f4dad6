/*
Where to work first: what is drawn, listed and explained of it.
*/

// Hillsides are read, not looked up: what to mind before anyone digs stands close below the first.
const HILLS = 12;
const WORK_WIDTH = 2.6;

const work = data.work;
const workLines = Packed.lines(work.lines);
const waterways = Packed.lines(work.waterways);
const outlets = Packed.lines(work.outlets);

// By place of a plot, that of its hillside in the order of work.
const hillOf = new Map(work.hills.flatMap((hill, at) => hill.plots.map(([place]) => [place, at])));

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

const rankOf = (place) => (hillOf.has(place) ? String(work.hills[hillOf.get(place)].rank) : null);

function hillFold(hill, at) {
  const show = leading(data.words.work_show, () => {
    fit(boundsOfPlaces(hill.plots.map(([place]) => place)));
    toMap();
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
