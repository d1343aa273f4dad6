/*
Puts the parts of the page together and starts it.

For tests, and for people who script, the page offers window.districtplan:

  ready          true once the map is drawn
  settled()      gives a promise: all that was asked for is there and drawn
  plots          a promise of the ids of all plots, village by village
  placeOf(id, level)
                 closes the card, brings the plot to the middle of the map, large enough to be hit,
                 and gives a promise of {x, y}: the place on screen, in CSS pixels from the top left
                 corner of the window, of a point inside the plot; null if there is no such plot.
                 With a level, zooms to it: levels are those of web maps, up to 22, where a pixel is
                 some 4 cm and rows stand at their real distance
  open(id)       opens the plot's card; a promise, of false if there is no such plot
  close()        closes the card
  show(view)     "steep", "rows", "buy", "first"; "teach" where demonstration plots are asked for,
                 "visits" where agents are named
  pointOf(longitude, latitude)
                 gives {x, y}: the place on screen of a point in degrees, WGS 84
  take(name, text)
                 is called by the scripts that are loaded
*/

/* The place in the district of a plot by its id, undefined if there is none. */
async function placeById(id) {
  if (rowOf.has(id)) return plots.place[rowOf.get(id)];
  return (await finder.ready()).placeOf.get(id);
}

async function placeOf(id, level) {
  const place = await placeById(id);
  if (place === undefined) return null;
  await loadVillage(villageOf(place));
  const i = rowOf.get(id);
  close();
  toMap();
  focusOn(i, level);
  await settled();
  return onScreen(latLngOf(inside[2 * i], inside[2 * i + 1]));
}

function pointOf(longitude, latitude) {
  return onScreen(L.latLng(latitude, longitude));
}

async function openById(id) {
  const place = await placeById(id);
  if (place === undefined) return false;
  await openPlace(place, null);
  return true;
}

const hook = { placeOf, open: openById, close, show, pointOf, settled, take: loader.take };
window.districtplan = { ready: false, ...hook };
Object.defineProperty(window.districtplan, "plots", { get: () => finder.ready().then(({ id }) => id) });
startViews();
startLegend();
startSearch();
if (data.order) startTable("order", data.order, data.words.order_title, data.order.hint);
startTable("calendar", data.calendar, data.words.calendar_title, data.words.calendar_hint);
startTotals();
startWork();
startTeach();
startVisits();
startList();
startFilter();
startNotes();
startMap();
startPrinting();
byId("card").setAttribute("aria-labelledby", "card-title");
byId("village").setAttribute("aria-labelledby", "village-title");
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape" || event.defaultPrevented || !byId("found").hidden) return;
  if (state.open !== null) close();
  else if (state.village) leaveVillage();
});
if (villages.length === 1) tracked(loadVillage(villages[0]).then(redraw).catch(missed));
show("steep");
startAddress();
settled().then(() => {
  window.districtplan.ready = true;
});
