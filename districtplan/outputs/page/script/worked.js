/*
How the numbers of a card were worked out, each with its source. The page holds it once; of a plot
only what its card has numbers of is told.
*/

const read = (kind, i) => howRead(kind, i) !== undefined;
const lined = (i) => !barred(i) && [STRAIGHT, GUIDE].includes(methodOf(i));
const ofRaster = (i) => lined(i) && !read("bearing", i);

// Of which plots each part is told; what isn't listed is told of all.
const TOLD = {
  slope_read: (i) => read("slope", i),
  bearing: ofRaster,
  bearing_se: ofRaster,
  bearing_read: (i) => lined(i) && read("bearing", i),
  magnetic: (i) => wordOf("row_bearing_magnetic_deg_text", i) !== null,
  guides: (i) => kindOf(i) !== null && !barred(i),
  rows: (i) => !barred(i),
  water: (i) => plots.water[i] !== undefined,
  loss: (i) => lossText("soil_loss_up_down_likely_t_ha_yr", i) !== null,
  loss_contour: (i) => lossText("soil_loss_contour_likely_t_ha_yr", i) !== null,
  limits: (i) => plots.steep[i] === 1,
  measure: (i) => measureWord("measure", i) !== null,
  inputs: (i) => !barred(i),
};

function workedPart(i) {
  const told = data.worked.filter(({ of }) => !TOLD[of] || TOLD[of](i));
  const parts = told.flatMap(({ title, said, cited }) => [make("h4", {}, title), make("p", {}, said), listed(cited)]);
  const more = make("p", {}, data.words.worked_more);
  return make("details", { class: "worked" }, make("summary", {}, data.words.worked), ...parts, more);
}
