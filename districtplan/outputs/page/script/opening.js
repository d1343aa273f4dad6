/*
Opens the card of a plot and closes it.
*/

/* Open the card of the plot of a place, at once where its village is there. */
function openPlace(place, opener) {
  const i = rowAt(place);
  if (i !== undefined) open(i, opener);
  else return loadVillage(villageOf(place)).then(() => open(rowAt(place), opener)).catch(missed);
  return Promise.resolve();
}

function open(i, opener) {
  fillCard(i);
  state.open = i;
  state.opener = opener;
  setVillage(villageOf(plots.place[i]));
  remember();
  byId("card").hidden = false;
  byId("card-empty").hidden = true;
  document.body.classList.add("card-open");
  if (opener !== byId("map")) focusOn(i);
  fields._update();
  uncover(i);
  byId("card").scrollTop = 0;
  if (!phone.matches) byId("panel").scrollTop = 0;
  byId("card").focus({ preventScroll: true });
}

/* On a phone the card comes up over the map: move the plot into what is left to see. */
function uncover(i) {
  if (!phone.matches) return;
  byId("stage").scrollIntoView({ block: "start" });
  const stage = byId("stage").getBoundingClientRect();
  const card = byId("card").getBoundingClientRect();
  const y = stage.top + map.latLngToContainerPoint(latLngOf(inside[2 * i], inside[2 * i + 1])).y;
  const wanted = (stage.top + Math.min(stage.bottom, card.top)) / 2;
  if (y > card.top - 24) map.panBy([0, y - wanted], { animate: false });
}

function close() {
  if (state.open === null) return;
  const back = state.opener;
  state.open = null;
  state.opener = null;
  remember();
  byId("card").hidden = true;
  byId("card-empty").hidden = false;
  document.body.classList.remove("card-open");
  fields._update();
  // Where the card was opened from, else what it was opened over.
  const under = state.village ? byId("village") : byId("map");
  (back?.isConnected ? back : under).focus({ preventScroll: true });
}
