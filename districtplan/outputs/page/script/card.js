/*
What the card of a plot says.
*/

function seOf(i) {
  const se = numberOf("row_bearing_se_deg", i);
  // Bearings are printed in whole degrees, so none is surer than one.
  return se > 0 ? say("bearing_se", { se: shown(Math.max(1, se)) }) : "";
}

function line(key, value, lead = false) {
  if (value === null) return null;
  const [term, text] = [make("dt", {}, data.words[key]), make("dd", {}, value)];
  return make("div", lead ? { class: "lead" } : {}, term, " ", text);
}

/* How a slope or bearing was measured on the ground; undefined where it wasn't. */
const howRead = (kind, i) => plots.readings[kind][i];

function rasterSlope(i) {
  const [mean, se] = [numberOf("slope_mean_pct", i), numberOf("slope_se_pct", i)];
  const values = { mean: shown(mean, 1), se: shown(se, 1) };
  return se > 0 ? say("slope_value", values) : say("slope_sure", values);
}

function slopeLine(i) {
  const how = howRead("slope", i);
  if (how === undefined) return line("slope", rasterSlope(i), true);
  const slope = shown(numberOf("slope_measured_pct", i), 1);
  return line("slope", say("slope_read", { slope, how }), true);
}

function bearingLine(i) {
  const how = howRead("bearing", i);
  // Where the slope read is level the bearing read no longer counts.
  if (how !== undefined && methodOf(i) !== ANY) {
    const read = { true: wordOf("row_bearing_true_deg_text", i), how };
    return withCheck(line("bearing", say("bearing_read", read), true), i);
  }
  if (methodOf(i) === ANY) return line("bearing", data.words.bearing_any, true);
  if (methodOf(i) === MEASURE) return line("bearing", data.words.bearing_measure, true);
  const text = say("bearing_value", { true: wordOf("row_bearing_true_deg_text", i), se: seOf(i) });
  const entry = line("bearing", text, true);
  if (methodOf(i) === GUIDE && !barred(i)) {
    entry.lastChild.append(make("small", {}, data.words.bearing_start));
  }
  return withCheck(entry, i);
}

function withCheck(entry, i) {
  if (plots.notes.check[i] && !barred(i)) entry.lastChild.append(make("small", {}, data.words.bearing_check));
  return entry;
}

function magneticLine(i) {
  if (wordOf("row_bearing_true_deg_text", i) === null) return null;
  const magnetic = wordOf("row_bearing_magnetic_deg_text", i);
  const values = { magnetic, se: seOf(i) };
  return line("magnetic", magnetic === null ? data.words.unknown : say("magnetic_value", values), true);
}

function declinationLine(i) {
  const declination = numberOf("declination_deg", i);
  if (declination === null || wordOf("row_bearing_magnetic_deg_text", i) === null) return null;
  const text = say("declination_value", {
    declination: shown(Math.abs(declination), 1),
    side: declination < 0 ? data.words.west : data.words.east,
    date: data.planting_date,
  });
  return line("declination", text);
}

function rowLines(i) {
  const words = wordOf("row_bearing_words", i);
  const hasBearing = !barred(i) && (methodOf(i) === STRAIGHT || methodOf(i) === GUIDE);
  const laid = excluded[i] === null ? "method_later" : "method_excluded";
  const key = barred(i) ? laid : `method_${methodOf(i).replace(/ /g, "_")}`;
  return [
    line("bearing_words", hasBearing && words !== null ? say("bearing_words_value", { words }) : null),
    declinationLine(i),
    line("method", data.words[key]),
    ...(barred(i) ? [] : [guideLine(i), ...laidLines(i)]),
    ...waterLines(i),
  ];
}

function guideLine(i) {
  if (kindOf(i) === null) return null;
  const count = shown(numberOf("guide_lines", i) || 0);
  return line("guide", say(`guide_${kindOf(i).replace(/ /g, "_")}`, { count }));
}

/* How many rows, how long, and where the first one is found; curved rows start from their guides. */
function laidLines(i) {
  const [rows, short, length] = ["rows", "short_rows", "row_length_m"].map((name) => numberOf(name, i));
  const metres = shown(length);
  const counts = { rows: shown(rows), short: shown(short), metres };
  const laid = short ? say("rows_value", counts) : say("rows_even", counts);
  return [
    line(rowsLabel(i), rows === null ? say("rows_metres", { metres }) : laid),
    line("rows_basis", wordOf("holes_basis", i)),
    firstLine(i),
    maizeLine(i),
  ];
}

/* Where a straight plot has pegs the sheet starts from the first of them, and so does the card. */
function firstLine(i) {
  const pegged = plots.notes.pegged[i];
  if (pegged !== null) return line("first_peg", pegged);
  const start = numberOf("first_row_start_m", i);
  const corner = { m: shown(start, 1), way: wordOf("first_row_way", i), corner: wordOf("first_row_corner", i) };
  return line("first_row", start === null || methodOf(i) !== STRAIGHT ? null : say("first_row_value", corner));
}

function rowsLabel(i) {
  if (numberOf("maize_holes", i) !== null) return "rows_beans";
  return numberOf("rows", i) === null ? "rows_length" : "rows_laid";
}

function maizeLine(i) {
  const [rows, length, holes] = ["maize_rows", "maize_row_length_m", "maize_holes"].map((name) => numberOf(name, i));
  if (holes === null) return null;
  const counted = { rows: rows === null ? data.words.unknown : shown(rows), metres: shown(length), holes: shown(holes) };
  return line("maize", say("maize_value", counted));
}

/* What runs onto a flagged plot and through it. */
function waterLines(i) {
  const known = plots.water[i];
  if (known === undefined) return [];
  const [outside, through, metres, atLeast] = known;
  const area = (tenths) => {
    if (tenths === null) return data.words.unknown;
    const ha = say("ha", { ha: shown(tenths / 10, 1) });
    return atLeast ? say("at_least", { ha }) : ha;
  };
  const values = { ha: area(through), metres: shown(metres) };
  return [
    line("run_on", say("run_on_value", { ha: area(outside) })),
    line("flow", metres ? say("flow_value", values) : say("flow_none", values)),
  ];
}

function lossText(name, i) {
  const tonnes = numberOf(name, i);
  if (tonnes === null) return null;
  return tonnes < 1 ? data.words.loss_small : say("loss_value", { tonnes: shown(tonnes) });
}

function soilLines(i) {
  const number = numberOf("erosion_class_number", i);
  const name = wordOf("erosion_class", i);
  const p90 = shown(numberOf("slope_p90_pct", i), 1);
  const max = shown(numberOf("slope_max_pct", i), 1);
  const steepness = { number: shown(numberOf("slope_class_number", i)), name: wordOf("slope_class", i) };
  const read = howRead("slope", i) !== undefined;
  const slope = shown(numberOf(read ? "slope_measured_pct" : "slope_corrected_pct", i), 1);
  const reckoned = read ? say("loss_slope_read", { slope }) : say("loss_slope_value", { slope });
  const upDown = lossText("soil_loss_up_down_likely_t_ha_yr", i);
  return [
    line("slope_raster", read ? rasterSlope(i) : null),
    line("slope_spread", say("slope_spread_value", { p90, max })),
    line("slope_class", say("class_value", steepness)),
    line("erosion_class", number === null ? null : say("class_value", { number: shown(number), name })),
    upDown === null ? line("loss", data.words.no_tonnes) : line("loss_up_down", upDown),
    line("loss_contour", lossText("soil_loss_contour_likely_t_ha_yr", i)),
    upDown === null ? null : line("loss_slope", reckoned),
    line("loss_above", wordOf("loss_above", i)),
  ];
}

const measureWord = (name, i) => plots.measure.words[name][i];

/* What to do first against soil loss: whoever stands on the plot has to find it on top. */
function firstLines(i) {
  const hill = work.hills[hillOf.get(plots.place[i])];
  const place = hill === undefined ? null : { rank: shown(hill.rank), name: hill.name };
  const lines = [
    line("measure", measureWord("measure", i)),
    line("measure_apart", measureWord("apart", i)),
    line("work_hill", place && say("work_rank", place)),
    line("veto", measureWord("veto", i)),
  ];
  return lines.filter((entry) => entry !== null);
}

/* What that takes and saves, beside rows on the contour. */
function measureLines(i) {
  const of = (name) => inNumbers(plots.measure.numbers, name, i);
  const [taken, saved] = ["land_taken_pct", "soil_saved_t_yr"].map(of);
  return [
    line("measure_takes", taken === null ? null : say("measure_takes_value", { pct: shown(taken) })),
    line("measure_saves", saved === null ? null : say("measure_saves_value", { tonnes: shown(saved, 1) })),
    line("work_days", measureWord("owed", i)),
  ];
}

function inputLines(i) {
  const counts = ["holes", "plants", "seed_packs", "npk_packs", "urea_packs"];
  const weights = { seed: "seed_g", npk: "npk_g", urea: "urea_g", manure: "manure_g" };
  const countLine = (name) => {
    const value = numberOf(name, i);
    return line(name, value === null ? null : shown(value));
  };
  const weightLine = ([key, name]) => {
    const value = numberOf(name, i);
    return line(key, value === null ? null : say("kg", { kg: kilograms(value) }));
  };
  return [
    ...counts.slice(0, 2).map(countLine),
    ...Object.entries(weights).map(weightLine),
    ...counts.slice(2).map(countLine),
  ];
}

/* What the plot's farmer gets, and on which line of the order it stands. */
function kitLines(i) {
  const { words, numbers } = plots.kit;
  const weight = (key, name) => {
    const value = inNumbers(numbers, name, i);
    return line(key, value === null ? null : say("kg", { kg: kilograms(value) }));
  };
  const counted = (key, name) => {
    const value = inNumbers(numbers, name, i);
    return line(key, value === null ? null : shown(value));
  };
  const whose = line("kit_line", words.order_line[i]);
  if (excluded[i] !== null) return [whose];
  return [
    whose,
    line("kit_area", say("ha", { ha: shown(inNumbers(numbers, "bean_area_ha", i), 2) })),
    weight("kit_seed", "seed_g"),
    weight("npk", "npk_g"),
    weight("urea", "urea_g"),
    weight("manure", "manure_g"),
    counted("kit_loads", "manure_loads"),
    counted("kit_poles", "poles"),
  ];
}

function placeLines(i) {
  const [latitude, longitude] = [numberOf("latitude_deg", i), numberOf("longitude_deg", i)];
  const ha = numberOf("area_ha", i);
  const farmer = plots.farmer[i] && brief(plots.farmer[i]);
  return [
    line("farmer", farmer),
    line("area", say("area_value", { ha: shown(ha, 2), m2: shown(10 * Math.round(ha * 1000)) })),
    line("height", say("height_value", { m: shown(numberOf("elevation_mean_m", i)) })),
    // Plain digits, so that they can be pasted anywhere.
    coordinatesLine(`${latitude.toFixed(5)}, ${longitude.toFixed(5)}`),
  ];
}

/* The plot's sheet of paper, where it has one. */
function sheetLink(i) {
  const [page, village] = [plots.sheet[i], villageOf(plots.place[i])];
  if (!page) return null;
  const file = `${data.files.villages[village.at]}.pdf`;
  const said = say("sheet_link", { page: shown(page), file });
  return make("p", { class: "paper" }, make("a", { href: `${data.files.sheets}/${file}#page=${page}` }, said));
}

/* Where guide lines start, and how many rows lie between them. */
function linesOf(i) {
  const said = plots.notes.lines[i];
  return said.length ? make("div", { class: "guide-lines" }, listed(said)) : null;
}

function notesOf(i) {
  const sentences = [...plots.notes.flags[i]];
  // That a plot is not for beans stands first of its flags, and on top of the card already.
  if (excluded[i] !== null) sentences.shift();
  else if (!sentences.length) return make("p", {}, data.words.no_notes);
  if (!sentences.length) return null;
  return make("div", { class: "notes" }, make("h3", {}, data.words.notes_heading), listed(sentences));
}

function careOf(i) {
  const care = plots.notes.care;
  const steep = plots.steep[i] || methodOf(i) === GUIDE;
  const said = [...(steep ? care.steep : []), ...care.feed];
  if (!said.length) return null;
  return make("div", { class: "take-care" }, make("h3", {}, data.words.care_heading), listed(said));
}

function fillCard(i) {
  const list = (lines) => make("dl", {}, ...lines.filter((entry) => entry !== null));
  const first = firstLines(i);
  const paragraph = (text, name) => (text === null ? null : make("p", { class: name }, text));
  const parts = [
    make(
      "header",
      {},
      make("h2", { id: "card-title" }, say("card_plot", { id: brief(plots.id[i]) })),
      make("button", { type: "button", onclick: () => close() }, data.words.close),
    ),
    paragraph(excluded[i], "stop"),
    make("p", { class: "place" }, villageOf(plots.place[i]).name),
    sheetLink(i),
    state.view === "teach" ? teachPart(i) : null,
    first.length ? make("section", { class: "first" }, make("h3", {}, data.words.first_heading), list(first)) : null,
    list([slopeLine(i), bearingLine(i), magneticLine(i)]),
    make("p", { class: "method" }, plots.notes.method[i].join(" ")),
    list(rowLines(i)),
    linesOf(i),
    notesOf(i),
    make("h3", {}, data.words.soil_heading),
    list([...soilLines(i), ...measureLines(i)]),
    paragraph(plots.notes.same[i], "same"),
    barred(i) ? null : make("h3", {}, data.words.inputs_heading),
    barred(i) ? null : list(inputLines(i)),
    make("h3", {}, data.words.kit_heading),
    list(kitLines(i)),
    state.view === "teach" ? null : teachPart(i),
    visitPart(i),
    make("h3", {}, data.words.place_heading),
    list(placeLines(i)),
    workedPart(i),
    careOf(i),
  ];
  byId("card").replaceChildren(...parts.filter((part) => part !== null));
}
