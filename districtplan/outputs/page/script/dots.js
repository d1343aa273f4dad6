/*
Draws a square for each plot whose shape isn't there or is too small to be seen.
*/

const DOT_SHARE = 0.8;

/* How large plots in view are on screen, on average. */
function typicalOf(near, frame, size) {
  let [sum, number] = [0, 0];
  for (const { start, end } of near) {
    for (let place = start; place < end; place++) {
      const [px, py] = [dots.x[place] * frame.scale + frame.east, frame.north - dots.y[place] * frame.scale];
      const half = (dots.across[place] * frame.scale) / 2;
      if (px < -half || py < -half || px > size.x + half || py > size.y + half) continue;
      sum += dots.across[place];
      number += 1;
    }
  }
  return number ? (sum / number) * frame.scale : 0;
}

function dotFill(place) {
  if (faded(place)) return FADED;
  if (plainly()) return lookAtPlace(place).fill;
  // From afar, how steep land is tells more than that its rows aren't known.
  if (dots.bare[place] && state.view !== "steep") return PAPER;
  return ((state.view === "steep" && classAtPlace(place)) || data.plain).fill;
}

/*
Plots whose own shape isn't there, or is too small to be seen: a square of their size. What a filter
leaves out comes first, so that it covers nothing.
*/
function drawDots(context, some, frame) {
  const byFill = new Map([[FADED, []]]);
  for (const { start, end } of some) {
    for (let place = start; place < end; place++) {
      const fill = dotFill(place);
      if (!byFill.has(fill)) byFill.set(fill, []);
      byFill.get(fill).push(place);
    }
  }
  const put = some.length && state.typical < SHAPE_FROM && !printing() ? pixelsOf(context) : null;
  for (const [fill, places] of byFill) {
    context.fillStyle = fill;
    const colour = put && put.colourOf(fill);
    for (const place of places) {
      const size = Math.max(1.5, DOT_SHARE * dots.across[place] * frame.scale);
      const px = dots.x[place] * frame.scale + frame.east - size / 2;
      const py = frame.north - dots.y[place] * frame.scale - size / 2;
      if (put) put.square(px, py, size, colour);
      else context.fillRect(px, py, size, size);
    }
  }
  if (put) put.done();
}

/* Squares set pixel by pixel, before all else: 100,000 would keep the canvas's own way too long. */
function pixelsOf(context) {
  const { width, height } = context.canvas;
  const dense = context.getTransform().a;
  const image = context.createImageData(width, height);
  const pixels = new Uint32Array(image.data.buffer);
  return {
    colourOf: (fill) => new Uint32Array(Uint8Array.of(...[1, 3, 5].map((at) => parseInt(fill.slice(at, at + 2), 16)), 255).buffer)[0],
    square(x, y, size, colour) {
      const side = Math.max(1, Math.round(size * dense));
      const [left, top] = [Math.round(x * dense), Math.round(y * dense)];
      for (let row = Math.max(0, top); row < Math.min(height, top + side); row++) {
        pixels.fill(colour, row * width + Math.max(0, left), row * width + Math.max(0, Math.min(width, left + side)));
      }
    },
    done: () => context.putImageData(image, 0, 0),
  };
}
