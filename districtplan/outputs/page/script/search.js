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

    /* Villages and places of plots, those that begin so before those that only hold it. */
    async function find(text) {
      const wanted = fold(text.trim());
      if (!wanted) return [];
      const { ids, farmers } = await ready();
      const ranked = Array.from({ length: 6 }, () => []);
      const rank = (name, entry, first) => {
        const at = name.indexOf(wanted);
        if (at >= 0) ranked[first + (at > 0 ? 3 : 0)].push(entry);
        return at >= 0;
      };
      names.forEach((name, village) => rank(name, { village }, 0));
      ids.forEach((name, place) => rank(name, { place }, 1) || (farmers.length && rank(farmers[place], { place }, 2)));
      return ranked.flat();
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
