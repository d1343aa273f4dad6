/*
Puts lines, arrows and words on a canvas.
*/

const ARROW = 7;
const ARROWS_APART = 60;

function strokeAll(context, rows, frame, line) {
  context.beginPath();
  for (const i of rows) trace(context, i, frame);
  context.lineWidth = line.width;
  context.strokeStyle = line.colour;
  context.setLineDash(line.dash || []);
  context.lineCap = "butt";
  context.stroke();
  context.setLineDash([]);
}

/* One line over another, the light one first: seen on any ground. */
function strokeOver(context, add, strokes) {
  for (const { width, colour, dash } of strokes) {
    context.beginPath();
    add();
    Object.assign(context, { lineWidth: width, strokeStyle: colour, lineCap: "butt", lineJoin: "round" });
    context.setLineDash(dash || []);
    context.stroke();
  }
  context.setLineDash([]);
}

/* Arrows along a line, the way that it is drawn: to its outlet. */
function pointArrows(context, { vertices, x, y }, line, frame) {
  let since = ARROWS_APART / 2;
  for (let at = vertices[line] + 1; at < vertices[line + 1]; at++) {
    const [x1, y1] = [x[at - 1] * frame.scale + frame.east, frame.north - y[at - 1] * frame.scale];
    const [x2, y2] = [x[at] * frame.scale + frame.east, frame.north - y[at] * frame.scale];
    const length = Math.hypot(x2 - x1, y2 - y1);
    since += length;
    if (since < ARROWS_APART && at + 1 < vertices[line + 1]) continue;
    since = 0;
    if (length) arrow(context, x2, y2, (x2 - x1) / length, (y2 - y1) / length);
  }
}

function arrow(context, x, y, east, south) {
  context.beginPath();
  context.moveTo(x, y);
  for (const side of [1, -1]) {
    context.lineTo(x - ARROW * (1.6 * east - side * south), y - ARROW * (1.6 * south + side * east));
  }
  context.closePath();
  Object.assign(context, { fillStyle: INK, strokeStyle: PAPER, lineWidth: 1.2 });
  context.fill();
  context.stroke();
}

function write(context, text, x, y, look) {
  context.font = look.font;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.lineJoin = "round";
  context.lineWidth = look.halo;
  context.strokeStyle = look.fill;
  context.strokeText(text, x, y);
  context.fillStyle = look.ink;
  context.fillText(text, x, y);
}
