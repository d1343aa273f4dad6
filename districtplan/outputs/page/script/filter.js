/*
Keeps the plots that are as asked, and lets the others fade.
*/

const NO_FILTER = { class: null, from: null, to: null, flag: null, stage: null };

/* Keep the plots that are as asked, and let the others fade. */
async function setFilter(wanted) {
  const asked = Object.fromEntries(Object.keys(NO_FILTER).map((key) => [key, wanted[key] || null]));
  if (JSON.stringify(asked) === JSON.stringify(state.filter)) return;
  state.filter = asked;
  remember();
  if (Object.values(asked).every((value) => value === null)) state.kept = null;
  else {
    const known = await tracked(finder.ready());
    const number = (text) => (text === null || Number.isNaN(Number(text)) ? null : Number(text));
    const { flag, stage } = asked;
    const limits = { classes: number(asked.class), from: number(asked.from), to: number(asked.to), flag, stage };
    state.kept = Search.kept(limits, known, (place) => dots.number[place]);
  }
  await fillFilter();
  showFilter(await finder.ready());
  redraw();
}

const faded = (place) => state.kept !== null && state.kept[place] === 0 && plots.place[state.open] !== place;

function showFilter(known) {
  for (const [key, value] of Object.entries(state.filter)) {
    const field = byId(`filter-${key}`);
    if (field) field.value = value ?? "";
  }
  const found = byId("filter-found");
  if (!found) return;
  found.replaceChildren();
  byId("filter-told").textContent = "";
  if (state.kept === null) return;
  byId("filter").open = true;
  const counts = villages.map(({ start, end }) => state.kept.subarray(start, end).reduce((sum, kept) => sum + kept, 0));
  const some = villages.filter(({ at }) => counts[at]).sort((a, b) => counts[b.at] - counts[a.at]);
  const count = counts.reduce((sum, one) => sum + one, 0);
  const told = { count: shown(count), total: shown(known.id.length), villages: shown(some.length) };
  byId("filter-told").textContent = say("filter_told", told);
  const holder = make("div");
  const more = inPieces(holder, some, (village) => keptFold(village, counts[village.at], known));
  found.append(holder, more);
}

function keptFold(village, count, known) {
  const tokens = make("div", { class: "tokens" });
  const summary = make("summary", {}, village.name, make("small", {}, count === 1 ? data.words.village_plot : say("village_plots", { count: shown(count) })));
  const element = make("details", { class: "village" }, summary, tokens);
  element.addEventListener("toggle", () => {
    if (!element.open || tokens.children.length) return;
    const places = [];
    for (let place = village.start; place < village.end; place++) if (!faded(place)) places.push(place);
    tokens.after(inPieces(tokens, places, (place) => plotButton(place, known.id[place])));
  });
  return element;
}

function startFilter() {
  fold("filter", data.words.filter);
  byId("filter").addEventListener("toggle", () => byId("filter").open && fillFilter().catch(missedFilter));
}

/* Said in the fold too: on a phone it lies below what is said above. */
function missedFilter(fault) {
  missed(fault);
  byId("filter").querySelector(".inner").replaceChildren(make("p", {}, byId("told").textContent));
}

async function fillFilter() {
  if (byId("filter-found")) return;
  const known = await tracked(finder.ready());
  if (byId("filter-found")) return;
  const choice = (key, options) => {
    const all = [["", data.words.filter_any], ...options];
    const select = make("select", { id: `filter-${key}` }, ...all.map(([value, text]) => make("option", { value }, text)));
    return make("p", {}, make("label", { for: `filter-${key}` }, data.words[`filter_${key}`]), select);
  };
  const limit = (key) => {
    const input = make("input", { id: `filter-${key}`, type: "number", min: "0", inputmode: "decimal" });
    return make("p", {}, make("label", { for: `filter-${key}` }, data.words[`filter_${key}`]), input);
  };
  const names = (kinds) => kinds.sort((a, b) => a[1].localeCompare(b[1], data.language));
  const classes = data.classes.filter(({ number }) => data.legend.classes.includes(number));
  const flags = [...new Set(known.flags.flat())].map((code) => [code, data.flag_names[code]]);
  const stages = [...new Set(known.stage)].map((code) => [code, data.words[`method_${code}`]]);
  const clear = make("button", { type: "button" }, data.words.filter_clear);
  clear.addEventListener("click", () => tracked(setFilter(NO_FILTER)).catch(missed));
  const form = make(
    "form",
    { class: "filter" },
    choice("class", classes.map(({ number, name }) => [String(number), `${number} ${name}`])),
    limit("from"),
    limit("to"),
    choice("stage", names(stages)),
    choice("flag", names(flags)),
    clear,
  );
  const asked = () => Object.fromEntries(Object.keys(NO_FILTER).map((key) => [key, byId(`filter-${key}`).value]));
  form.addEventListener("change", () => tracked(setFilter(asked())).catch(missed));
  form.addEventListener("submit", (event) => event.preventDefault());
  const told = make("p", { id: "filter-told", role: "status" });
  byId("filter").querySelector(".inner").replaceChildren(form, told, make("div", { id: "filter-found" }));
  showFilter(known);
}
