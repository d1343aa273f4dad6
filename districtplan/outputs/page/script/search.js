/*
Finds villages, plots and farmers by what is typed, and plots by what they are like. Accents and
case don't count. What plots are found by is loaded when it is first needed.
*/

const Search = (() => {
  // Letters that no accent can be taken from, as they are typed where a keyboard lacks them.
  const PLAIN = {
    ß: "ss", æ: "ae", œ: "oe", ø: "o", đ: "d", ð: "d", ł: "l", ı: "i", ħ: "h", þ: "th", ς: "σ",
    ŋ: "n", ɲ: "n", ɓ: "b", ɗ: "d", ɖ: "d", ɛ: "e", ɔ: "o", ɣ: "g", ƙ: "k", ʋ: "v", ƴ: "y", ƒ: "f",
  };
  const UNPARTED = new RegExp(`[${Object.keys(PLAIN).join("")}]`, "g");

  /* A text as it is compared. */
  function fold(text) {
    const parted = text.toLowerCase().normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
    return parted.replace(UNPARTED, (letter) => PLAIN[letter]);
  }

  function finderOf(villages, load) {
    const names = villages.map(fold);
    let known = null;

    /* What plots are found by: their ids, farmers, slopes, stages and flags, by place. */
    async function ready() {
      if (known === null) {
        const found = await load();
        known = {
          id: found.id,
          farmer: found.farmer_name ?? null,
          ids: found.id.map(fold),
          farmers: (found.farmer_name ?? []).map((name) => (name === null ? "" : fold(name))),
          slope: Packed.numbers(found.slope) ?? new Array(found.id.length).fill(null),
          stage: Packed.texts(found.stage),
          flags: Packed.texts(found.flags).map((codes) => (codes === null ? [] : codes.split("|"))),
          placeOf: new Map(found.id.map((id, place) => [id, place])),
        };
      }
      return known;
    }

    /*
    Villages and places of plots: what is named just so, then what begins so, then what only holds
    it. First of all comes the plot whose id was typed to the letter: others may differ by an accent.
    */
    async function find(text) {
      const wanted = fold(text.trim());
      if (!wanted) return [];
      const { ids, farmers, placeOf } = await ready();
      const ranked = Array.from({ length: 9 }, () => []);
      const rank = (name, entry, first) => {
        const at = name.indexOf(wanted);
        const held = at > 0 ? 6 : 3;
        if (at >= 0) ranked[first + (name === wanted ? 0 : held)].push(entry);
        return at >= 0;
      };
      names.forEach((name, village) => rank(name, { village }, 0));
      ids.forEach((name, place) => rank(name, { place }, 1) || (farmers.length && rank(farmers[place], { place }, 2)));
      const typed = placeOf.get(text.trim());
      const found = ranked.flat();
      return typed === undefined ? found : [{ place: typed }, ...found.filter(({ place }) => place !== typed)];
    }

    return { ready, find };
  }

  /* Which plots are as asked: 1 by place where one is; all where nothing is asked. */
  function kept({ classes, from, to, flag, stage }, known, classOf) {
    return Uint8Array.from(known.id, (_, place) => {
      const slope = known.slope[place];
      const within = (from === null && to === null) || (slope !== null && slope >= (from ?? 0) && slope <= (to ?? Infinity));
      return (
        within &&
        (classes === null || classes === classOf(place)) &&
        (flag === null || known.flags[place].includes(flag)) &&
        (stage === null || known.stage[place] === stage)
      );
    });
  }

  return { fold, finderOf, kept };
})();
