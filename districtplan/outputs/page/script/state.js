/*
What is shown at the moment.
*/

// Where to work, and who teaches, is shown alike on all plots.
const plainly = () => ["first", "teach", "visits"].includes(state.view);

const empty = (i) => toFind(i) && !plainly();

const state = {
  view: "steep",
  village: null,
  open: null,
  opener: null,
  framed: null,
  typical: 0,
  filter: { class: null, from: null, to: null, flag: null, stage: null },
  ground: GROUND,
  kept: null,
  restoring: false,
  remembering: false,
};
