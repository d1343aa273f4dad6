/*
Lines of equal height below the plots: as many as can be told apart at the size of the map, every
fifth thicker and with its height. A page begins with some of them; all of them are loaded when the
map is near enough to show them.
*/

function heightsOf({ told, step, load, redraw, missed, inView, style, write, worded }) {
  const APART = 12;
  const ROUND = [1, 2, 5];
  const EVERY = 5;
  const PIECE = 40;
  const WIDTHS = [0.6, 1.2];
  const LABELS_APART = 190;
  const LABEL_ROOM = 30;
  const LABEL_HALF = 9;
  const LABELS_MAX = 40;
  let all = told && told.fine_m === told.lines.interval_m;
  let lines = told && inPieces(told.lines);

  /* Lines cut into short pieces, each with the box that it lies in. */
  function inPieces(packed) {
    const { vertices, x, y } = Packed.lines(packed);
    const levels = Packed.naturals(packed.levels).map(Packed.signed);
    const pieces = [];
    levels.forEach((level, line) => {
      for (let from = vertices[line]; from + 1 < vertices[line + 1]; from += PIECE) {
        const to = Math.min(from + PIECE, vertices[line + 1] - 1);
        let [west, bottom, east, top] = [x[from], y[from], x[from], y[from]];
        for (let at = from + 1; at <= to; at++) {
          [west, east] = [Math.min(west, x[at]), Math.max(east, x[at])];
          [bottom, top] = [Math.min(bottom, y[at]), Math.max(top, y[at])];
        }
        pieces.push({ height: level * packed.interval_m, from, to, west, bottom, east, top });
      }
    });
    return { apart: packed.interval_m, pieces, x, y };
  }

  /* The closest round interval of some lines that a scale, in pixels a step, shows apart. */
  function closest(apart, scale) {
    const pixels = (metres) => (metres / told.rise / step) * scale;
    for (let power = 1; power < 1e5; power *= 10) {
      for (const times of ROUND) {
        const metres = times * power;
        if (metres % apart === 0 && pixels(metres) >= APART) return metres;
      }
    }
    return Infinity;
  }

  function loadAll() {
    all = true;
    const shown = (packed) => {
      lines = inPieces(packed);
      redraw();
    };
    load().then(shown).catch(missed);
  }

  /*
  Draw what is in view and give the interval, in metres; null where there are no lines. Heights are
  written where a box is clear.
  */
  function draw(context, frame, size, view, clear) {
    if (!lines) return null;
    const apart = closest(lines.apart, frame.scale);
    if (!all && closest(told.fine_m, frame.scale) < apart) loadAll();
    const { pieces, x, y } = lines;
    const seen = pieces.filter((piece) => piece.height % apart === 0 && inView(piece, frame, size));
    const thick = seen.filter(({ height }) => height % (EVERY * apart) === 0);
    Object.assign(context, { strokeStyle: style.colour, lineJoin: "round", lineCap: "round" });
    [seen, thick].forEach((some, at) => {
      context.lineWidth = WIDTHS[at];
      context.beginPath();
      for (const { from, to } of some) {
        context.moveTo(x[from] * frame.scale + frame.east, frame.north - y[from] * frame.scale);
        for (let next = from + 1; next <= to; next++) {
          context.lineTo(x[next] * frame.scale + frame.east, frame.north - y[next] * frame.scale);
        }
      }
      context.stroke();
    });
    label(context, thick, frame, view, clear);
    return apart;
  }

  /* Heights along thick lines, clear of one another and of the edge of the map. */
  function label(context, thick, frame, view, clear) {
    const { x, y } = lines;
    const taken = [];
    context.font = style.label.font;
    for (const { height, from, to } of thick) {
      if (taken.length >= LABELS_MAX) return;
      const at = Math.floor((from + to - 1) / 2);
      const [x1, x2] = [at, at + 1].map((one) => x[one] * frame.scale + frame.east);
      const [y1, y2] = [at, at + 1].map((one) => frame.north - y[one] * frame.scale);
      const [px, py] = [(x1 + x2) / 2, (y1 + y2) / 2];
      const inside =
        px > view.min.x + LABEL_ROOM && px < view.max.x - LABEL_ROOM && py > view.min.y + LABEL_ROOM && py < view.max.y - LABEL_ROOM;
      if (!inside || taken.some(([ox, oy]) => Math.hypot(ox - px, oy - py) < LABELS_APART)) continue;
      // Never upside down.
      const turn = Math.atan((y2 - y1) / (x2 - x1 || 1e-9));
      const half = context.measureText(worded(height)).width / 2 + style.label.halo;
      const [along, across] = [Math.cos(turn), Math.abs(Math.sin(turn))];
      const reach = L.point(half * along + LABEL_HALF * across, half * across + LABEL_HALF * along);
      if (!clear(L.bounds([px - reach.x, py - reach.y], [px + reach.x, py + reach.y]))) continue;
      taken.push([px, py]);
      context.save();
      context.translate(px, py);
      context.rotate(turn);
      write(context, worded(height), 0, 0, style.label);
      context.restore();
    }
  }

  return { draw };
}
