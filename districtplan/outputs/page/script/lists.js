/*
The list of villages and their plots.
*/

function plotButton(place, id) {
  const found = classAtPlace(place);
  const tag = found ? make("span", { class: "tag" }, String(found.number)) : null;
  const button = make("button", { type: "button" }, brief(id), tag);
  button.addEventListener("click", () => openPlace(place, button));
  return button;
}

const rowButton = (i) => plotButton(plots.place[i], plots.id[i]);

function villageCounts({ at, start, end }) {
  const steep = inNumbers(totals, "plots_steep", at);
  const size = end - start;
  const counts = [size === 1 ? data.words.village_plot : say("village_plots", { count: shown(size) })];
  if (steep) counts.push(say("village_steep", { count: shown(steep) }));
  if (teach) counts.push(...taughtCounts(teachOf.get(at)));
  if (visits) counts.push(...visitCounts(visits.villages[at]));
  return counts.join(" · ");
}

/* How many demonstration plots a village has, and who of it has none in reach. */
function taughtCounts({ plots: here, reached, farmers }) {
  const left = farmers - reached;
  const plotsSaid = here === 1 ? data.words.village_demos_one : say("village_demos", { count: shown(here) });
  const leftSaid = left === 1 ? data.words.village_unreached_one : say("village_unreached", { count: shown(left) });
  return [plotsSaid, ...(left ? [leftSaid] : [])];
}

function villageFold(village) {
  const tokens = make("div", { class: "tokens" });
  const summary = make("summary", {}, village.name, make("small", {}, villageCounts(village)));
  const element = make("details", { class: "village" }, summary, tokens);
  element.addEventListener("toggle", () => {
    if (!element.open || tokens.children.length) return;
    tokens.append(leading(data.words.show_village, () => openVillage(village)));
    listPlots(village, tokens);
  });
  return element;
}

function startList() {
  const holder = make("div");
  const more = inPieces(holder, villages, villageFold);
  fold("list", data.words.list_title, holder, more);
  document.querySelector(".skip").addEventListener("click", (event) => {
    // The address tells what is shown, and so is no place to jump by.
    event.preventDefault();
    byId("list").open = true;
    byId("list").querySelector("summary").focus();
  });
}
