/*
The address of what is shown: view, village, plot, ground and filter as the fragment of the page's address,
so that it can be sent, and the browser's way back leads through what was looked at.
*/

const Address = (() => {
  const KEYS = ["view", "village", "plot", "ground", "class", "from", "to", "flag", "stage"];

  /* The fragment for a state; what isn't set is left out. */
  function written(state) {
    const parts = KEYS.filter((key) => state[key] !== null && state[key] !== undefined);
    return parts.map((key) => `${key}=${encodeURIComponent(state[key])}`).join("&");
  }

  /* The state that a fragment tells; keys that aren't known are passed over. */
  function read(fragment) {
    const state = Object.fromEntries(KEYS.map((key) => [key, null]));
    for (const part of fragment.replace(/^#/, "").split("&")) {
      const [key, ...rest] = part.split("=");
      if (!KEYS.includes(key)) continue;
      try {
        state[key] = decodeURIComponent(rest.join("="));
      } catch {
        // Half a sign, as where an address was cut short.
      }
    }
    return state;
  }

  return { written, read };
})();
