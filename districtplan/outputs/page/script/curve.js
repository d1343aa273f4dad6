/*
Draws a curve of what each further step brings.
*/

const CURVE = { width: 380, height: 250, left: 64, right: 14, top: 26, bottom: 46, ticks: 4 };

function drawn(tag, attributes, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  element.append(...children);
  return element;
}

/* A round step that parts a range into some four. */
function roundStep(most) {
  const rough = most / CURVE.ticks;
  const unit = 10 ** Math.floor(Math.log10(rough));
  return [1, 2, 5, 10].map((times) => times * unit).find((step) => step >= rough);
}

/* A curve with the place that the plan takes on it. */
function curvePicture({ points, mark, unit, said, yours, top: above, alt }) {
  const { width, height, left, right, top, bottom } = CURVE;
  const [most, best] = points.at(-1);
  const toX = (value) => left + ((width - left - right) * value) / most;
  const toY = (value) => height - bottom - ((height - top - bottom) * value) / best;
  const text = (x, y, anchor, words) =>
    drawn("text", { x, y, "text-anchor": anchor, "font-size": 14, fill: INK }, words);
  const rule = (x1, y1, x2, y2, more = {}) =>
    drawn("line", { x1, y1, x2, y2, stroke: INK, "stroke-width": 1, ...more });
  const parts = [rule(left, top, left, height - bottom), rule(left, height - bottom, width - right, height - bottom)];
  for (let value = 0, step = roundStep(best); value <= best; value += step) {
    parts.push(rule(left - 5, toY(value), left, toY(value)), text(left - 8, toY(value) + 5, "end", shown(value)));
  }
  for (let value = 0, step = roundStep(most); value <= most; value += step) {
    parts.push(rule(toX(value), height - bottom, toX(value), height - bottom + 5));
    parts.push(text(toX(value), height - bottom + 20, "middle", shown(value)));
  }
  const path = points.map(([spent, saved]) => `${toX(spent).toFixed(1)},${toY(saved).toFixed(1)}`).join(" ");
  parts.push(drawn("polyline", { points: path, fill: "none", stroke: ACCENT, "stroke-width": 3 }));
  if (mark !== null && mark <= most) {
    parts.push(rule(toX(mark), top, toX(mark), height - bottom, { "stroke-width": 2, "stroke-dasharray": "6 4" }));
    const right = toX(mark) < width / 2;
    parts.push(text(toX(mark) + (right ? 6 : -6), height - bottom - 10, right ? "start" : "end", yours));
  }
  parts.push(text(4, 14, "start", above), text(width - right, height - 6, "end", unit));
  const names = [drawn("title", {}, alt), drawn("desc", {}, said)];
  return drawn("svg", { viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": `${alt} ${said}` }, ...names, ...parts);
}
