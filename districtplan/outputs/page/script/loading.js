/*
Gets villages' plots when they are asked for or come into view, and knows when all is there.
*/

const loading = { wanted: [], busy: false, pending: new Set() };

/* A village's plots: a promise of the village, once they are there. */
function loadVillage(village) {
  village.coming ??= tracked(
    loader.load(data.files.villages[village.at]).then((found) => {
      const from = plots.count;
      learn(found.odd);
      add(found, village.start);
      village.rows = Array.from({ length: plots.count - from }, (_, at) => from + at);
      tellLeftOut();
      return village;
    }),
  );
  // It may have been a card pulled out too soon: the next one who asks tries again.
  village.coming.catch(() => {
    village.coming = null;
  });
  return village.coming;
}

function tracked(promise) {
  loading.pending.add(promise);
  const done = () => loading.pending.delete(promise);
  promise.then(done, done);
  return promise;
}

/* Load what is in view, nearest to its middle first, one after the other. */
function want(near) {
  const { lat, lng } = map.getCenter();
  const [x, y] = planeOf(lng, lat).map((at, axis) => (at - origin[axis]) / step);
  const away = ({ west, east, top, bottom }) => Math.hypot((west + east) / 2 - x, (top + bottom) / 2 - y);
  loading.wanted = near.filter(({ coming }) => coming === null).sort((a, b) => away(a) - away(b));
  if (!loading.busy && loading.wanted.length) tracked(loadWanted());
}

async function loadWanted() {
  loading.busy = true;
  try {
    for (let next = loading.wanted.shift(); next; next = loading.wanted.shift()) {
      await loadVillage(next);
      redraw();
    }
  } catch (fault) {
    // What else is in view would fail alike.
    loading.wanted = [];
    missed(fault);
  } finally {
    loading.busy = false;
  }
}

/* Say that a file is not there; other faults are the page's own, and are not hidden. */
function missed(fault) {
  if (!(fault instanceof NotThere)) throw fault;
  byId("told").textContent = say("not_loaded", { file: `map/${fault.message}.js` });
}

/* Wait until all that was asked for is there and drawn. */
async function settled() {
  do {
    await Promise.allSettled([...loading.pending]);
    await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
  } while (loading.pending.size || drawing !== null);
  return true;
}
