/*
Gets what a page shows only when it is asked for: a village's plots, what plots are searched by.
A page of a village holds them; the page of a district adds a script for them, which hands them
over by take(). Other ways to read a file are shut to a page that was opened from a disk.
*/

class NotThere extends Error {}

function loaderOf({ folder, nonce }) {
  const asked = new Map();
  const handed = new Map();

  function fetched(name) {
    const held = document.getElementById(`held-${name}`);
    if (held) return Promise.resolve(held.textContent);
    return new Promise((done, fail) => {
      const script = document.createElement("script");
      script.nonce = nonce;
      script.src = `${folder}/${name}.js`;
      script.addEventListener("load", () => (handed.has(name) ? done(handed.get(name)) : fail(new NotThere(name))));
      script.addEventListener("error", () => fail(new NotThere(name)));
      document.head.append(script);
    }).finally(() => handed.delete(name));
  }

  /* A file that was spoilt on its way is as good as none. */
  async function inflated(name, text) {
    try {
      return await Packed.inflated(text);
    } catch {
      throw new NotThere(name);
    }
  }

  /* Data by name; asked for once, and again if it couldn't be had. */
  function load(name) {
    if (!asked.has(name)) {
      const found = fetched(name).then((text) => inflated(name, text));
      asked.set(name, found);
      found.catch(() => asked.delete(name));
    }
    return asked.get(name);
  }

  return { load, take: (name, text) => handed.set(name, text) };
}
