/*
The card of a village.
*/

/* Show a village: its plots on the map, its numbers beside it. */
function openVillage(village) {
  close();
  setVillage(village);
  fit(boundsOfVillages([village]));
  toMap();
  byId("village").focus({ preventScroll: true });
  return tracked(loadVillage(village).then(redraw).catch(missed));
}

function leaveVillage() {
  const within = byId("village").contains(document.activeElement);
  setVillage(null);
  fit(boundsOfVillages(villages));
  if (within) byId("map").focus({ preventScroll: true });
}

/* The village that is looked at, as long as there is more than one. */
function setVillage(village) {
  const other = villages.length > 1 ? village : null;
  if (other === state.village) return;
  state.village = other;
  byId("village").hidden = other === null;
  if (other !== null) byId("village").replaceChildren(...villageParts(other));
  remember();
}

function villageParts(village) {
  const names = Object.keys(totals).filter((name) => inNumbers(totals, name, village.at) !== null);
  const back = leading(data.words.whole, () => {
    close();
    leaveVillage();
  });
  const file = `villages/${data.files.villages[village.at]}.html`;
  const page = data.files.pages ? make("p", {}, make("a", { href: file }, data.words.village_page)) : null;
  const tokens = make("div", { class: "tokens" });
  const plotsOf = make("details", { class: "village" }, make("summary", {}, data.words.village_list), tokens);
  plotsOf.addEventListener("toggle", () => plotsOf.open && listPlots(village, tokens));
  const numbers = names.map((name) =>
    make("div", {}, make("dt", {}, data.words[`totals_${name}`]), " ", make("dd", {}, totalText(totals, name, village.at))),
  );
  const heading = make("h2", { id: "village-title" }, village.name);
  const taught = teach ? [make("h3", {}, data.words.view_teach), ...paragraphs(teachOf.get(village.at).said)] : [];
  const parts = [
    make("header", {}, heading, back),
    make("p", {}, villageCounts(village)),
    plotsOf,
    page,
    ...taught,
    make("h3", {}, data.words.totals_heading),
    make("p", { class: "hint" }, data.served),
    make("dl", {}, ...numbers),
  ];
  return parts.filter((part) => part !== null);
}

/* Buttons for all plots of a village, once they are there. */
async function listPlots(village, tokens) {
  if (tokens.dataset.asked) return;
  tokens.dataset.asked = "yes";
  try {
    await tracked(loadVillage(village));
    tokens.after(inPieces(tokens, village.rows, rowButton));
  } catch (fault) {
    delete tokens.dataset.asked;
    missed(fault);
  }
}
