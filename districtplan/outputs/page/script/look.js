/*
Colours, sizes and dashes that more than one part draws with. Colours are those of style.css.
*/

const INK = "#1d1408";
const PAPER = "#fffdf8";
const ACCENT = "#0b4a82";
const WATER = "#1668b0";
const CONTOUR = "#5c4c3a";
const FADED = "#efe8da";
// From these sizes on screen [pixels] a plot gets its shape, its rows, its number.
const SHAPE_FROM = 3;
const ROWS_FROM = 10;
const NUMBER_FROM = 26;
const LINE_GAP = { [STRAIGHT]: 6, [ANY]: 9 };
const LABEL_GAP = 14;
const DOTS = [0.1, 8];
const GUIDE_WIDTH = 3;
const LEVEL_DASH = [14, 4, 3, 4];
const PART_DASH = [6, 4];
const PART_WIDTH = 1.8;
const CROSS = "×";
// From this size on its halves are drawn, where it is a demonstration plot.
const HALVES_FROM = 90;
// What can be taken off the ground, in the order in which it lies.
const GROUND = ["tint", "lines"];
