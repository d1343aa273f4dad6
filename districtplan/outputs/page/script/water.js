/*
Draws the lines that water takes, and their part of the legend.
*/

const FLOW_WIDTHS = [1.2, 5];
const FLOW_DASH = [9, 5];

/* From the least area that makes a line on, a third wider each time it grows threefold. */
function flowWidth(area) {
  const least = Math.min(...flow.area.slice(-1)) || 1;
  return Math.min(FLOW_WIDTHS[1], FLOW_WIDTHS[0] * (Math.max(1, area / least) ** 0.25));
}

/* Water, over a light edge, so that it is seen on dark land too. */
function strokeFlow(context, frame, size) {
  context.lineCap = "butt";
  context.lineJoin = "round";
  flow.area.forEach((area, line) => {
    if (!crosses(flow, line, frame, size)) return;
    context.beginPath();
    traceLine(context, flow, line, frame);
    context.lineWidth = flowWidth(area) + 2;
    context.strokeStyle = PAPER;
    context.stroke();
    context.setLineDash(flow.least[line] ? FLOW_DASH : []);
    context.lineWidth = flowWidth(area);
    context.strokeStyle = WATER;
    context.stroke();
    context.setLineDash([]);
  });
}

function waterPart(entry) {
  const least = data.legend.flow;
  if (!least.length) return [];
  const wave = "M2 8 C14 2 22 26 46 18";
  const style = { width: 2.5, colour: WATER };
  const sampled = [
    ...(least.includes(0) ? [entry(samplePath(wave, style), data.words.legend_flow)] : []),
    ...(least.includes(1)
      ? [entry(samplePath(wave, { ...style, dash: FLOW_DASH }), data.words.legend_flow_least)]
      : []),
  ];
  return [
    make("h3", {}, data.words.legend_water),
    make("ul", {}, ...sampled),
    make("p", { id: "left-flow", hidden: "" }),
  ];
}
