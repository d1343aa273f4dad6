/*
Reads what page data is packed as: streams of natural numbers, columns, points, deflated JSON.
*/

const Packed = (() => {
  /* A stream of natural numbers, seven bits a byte, low bits first, in base 64. */
  function naturals(text) {
    const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
    const values = [];
    for (let at = 0; at < bytes.length; ) {
      let value = 0;
      let factor = 1;
      let byte;
      do {
        byte = bytes[at++];
        // Multiplied, not shifted: shifts stop at 32 bits.
        value += (byte & 127) * factor;
        factor *= 128;
      } while (byte & 128);
      values.push(value);
    }
    return values;
  }

  const signed = (value) => (value % 2 ? -(value + 1) / 2 : value / 2);

  /* A column of numbers, null where one isn't known; null for a column of which none is. */
  function numbers({ digits, packed }) {
    if (packed === null) return null;
    return naturals(packed).map((value) => (value ? signed(value - 1) / 10 ** digits : null));
  }

  /* A column of texts, null where there is none. */
  function texts({ texts: all, packed }) {
    return naturals(packed).map((place) => (place ? all[place - 1] : null));
  }

  /* Where each of some runs starts, and where the last ends. */
  function starts(counts) {
    const found = new Uint32Array(counts.length + 1);
    counts.forEach((count, at) => {
      found[at + 1] = found[at] + count;
    });
    return found;
  }

  /* Points that are given as moves, each from the one before. */
  function points(stream) {
    const moves = naturals(stream);
    const x = new Int32Array(moves.length / 2);
    const y = new Int32Array(moves.length / 2);
    for (let at = 0, east = 0, north = 0; at < x.length; at++) {
      east += signed(moves[2 * at]);
      north += signed(moves[2 * at + 1]);
      x[at] = east;
      y[at] = north;
    }
    return { x, y };
  }

  /* Lines: points, and where those of each line start; y grows to the north. */
  function lines({ vertices, moves }) {
    return { vertices: starts(naturals(vertices)), ...points(moves) };
  }

  /* JSON that was deflated, in base 64. */
  async function inflated(text) {
    const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Response(stream).json();
  }

  return { naturals, signed, numbers, texts, starts, points, lines, inflated };
})();
