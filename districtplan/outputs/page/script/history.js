/*
Keeps the page's address in step with what is shown, both ways.
*/

const BARE = "plain";

/* What the page's address tells, so that it can be sent and come back to. */
function addressed() {
  const stem = state.village && data.files.villages[state.village.at];
  const view = state.view === VIEWS[0] ? null : state.view;
  const ground = state.ground.length === GROUND.length ? null : state.ground.join() || BARE;
  return { view, village: stem, plot: state.open === null ? null : plots.id[state.open], ground, ...state.filter };
}

/* One step back leads over all that was changed at once. */
function remember() {
  if (state.restoring || state.remembering) return;
  state.remembering = true;
  queueMicrotask(() => {
    state.remembering = false;
    // What was set up before an address is read mustn't take its place.
    if (state.restoring) return;
    const fragment = Address.written(addressed());
    if (fragment !== location.hash.slice(1)) history.pushState(null, "", `#${fragment}`);
  });
}

/* Show what the address tells: on the way back, and where one was sent. */
async function restore() {
  const wanted = Address.read(location.hash);
  state.restoring = true;
  try {
    if ((wanted.view ?? VIEWS[0]) !== state.view) show(VIEWS.includes(wanted.view) ? wanted.view : VIEWS[0]);
    const asked = wanted.ground;
    setGround(GROUND.filter((kind) => asked === null || asked === kind || !(asked === BARE || GROUND.includes(asked))));
    // What plots are filtered by may be missing: the village or plot is shown all the same.
    await setFilter(wanted).catch(missed);
    const village = villages[data.files.villages.indexOf(wanted.village)] ?? null;
    if (village) await loadVillage(village);
    const place = wanted.plot === null ? undefined : await placeById(wanted.plot);
    if (place !== undefined && place !== plots.place[state.open]) await openPlace(place, null);
    if (place !== undefined) return;
    if (village && (village !== state.village || state.open !== null)) await openVillage(village);
    if (!village && state.village) leaveVillage();
    close();
  } catch (fault) {
    missed(fault);
  } finally {
    state.restoring = false;
  }
}

function startAddress() {
  let turn = tracked(restore());
  window.addEventListener("popstate", () => {
    turn = tracked(turn.then(restore));
  });
}
