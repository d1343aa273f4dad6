/*
Who comes when: days and routes on the map, in lists, on cards.
*/

// Null where the plan names no agents, and on pages of villages.
const visits = data.visits;

const routes = visits && Packed.lines(visits.routes);
const agentOf = new Map(visits ? visits.plots : []);

// The day whose route is drawn before all others, by its line.
let dayShown = null;

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

const VISIT_FOLDS = ["visit-days", "visit-load", "visit-out"];

function dayFold({ line, day, said, stops }) {
  const show = leading(data.words.visit_show, () => {
    dayShown = line;
    const [from, to] = [routes.vertices[line], routes.vertices[line + 1]];
    const places = Array.from({ length: to - from }, (_, at) => latLngOf(routes.x[from + at], routes.y[from + at]));
    fit(L.latLngBounds(places));
    fields._update();
    toMap();
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
  const all = leading(data.words.visit_all, () => {
    dayShown = null;
    fields._update();
    toMap();
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

/* How much of the agents' time a village asks for, and what of it is left out. */
function visitCounts([planned, hours, left]) {
  const values = { count: shown(planned), hours: shown(hours) };
  const said = planned === 1 ? say("village_visit", values) : say("village_visits", values);
  const out = left === 1 ? data.words.village_visit_out : say("village_visits_out", { count: shown(left) });
  return [said, ...(left ? [out] : [])];
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
