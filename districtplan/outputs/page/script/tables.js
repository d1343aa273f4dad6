/*
Tables: of totals, and of cells that are written already.
*/

function totalsCells(numbers, names, at) {
  return names.map((name) => make("td", {}, totalText(numbers, name, at)));
}

function totalText(numbers, name, at) {
  const value = inNumbers(numbers, name, at);
  if (value === null) return "";
  return name.endsWith("_g") ? kilograms(value) : shown(value, name === "area_ha" ? 1 : 0);
}

/* A table whose cells are written already, and sentences below it. */
function startTable(id, { heads, rows, notes }, name, hint) {
  const head = heads.map((text) => make("th", { scope: "col" }, text));
  const body = rows.map(([first, ...cells]) =>
    make("tr", {}, make("th", { scope: "row" }, first), ...cells.map((text) => make("td", {}, text))),
  );
  const table = make(
    "table",
    {},
    make("thead", {}, make("tr", {}, ...head)),
    make("tbody", {}, ...body),
  );
  const region = { class: "wide", tabindex: "0", role: "region", "aria-label": name };
  fold(id, name, make("p", { class: "hint" }, hint), make("div", region, table), ...(notes ? [listed(notes)] : []));
}

function startTotals() {
  const names = Object.keys(totals).filter((name) => villages.some(({ at }) => inNumbers(totals, name, at) !== null));
  const head = [data.words.totals_village, ...names.map((name) => data.words[`totals_${name}`])];
  const body = make("tbody");
  if (sums) {
    const all = make("tr", { class: "all" }, make("th", { scope: "row" }, data.words.totals_district));
    all.append(...totalsCells(sums, names, 0));
    body.append(all);
  }
  const table = make(
    "table",
    {},
    make("thead", {}, make("tr", {}, ...head.map((text) => make("th", { scope: "col" }, text)))),
    body,
  );
  const more = inPieces(body, villages, (village, at) =>
    make("tr", {}, make("th", { scope: "row" }, village.name), ...totalsCells(totals, names, at)),
  );
  const region = { class: "wide", tabindex: "0", role: "region", "aria-label": data.words.totals };
  const wide = make("div", region, table);
  const hint = `${data.served} ${data.words.totals_hint}`;
  fold("totals", data.words.totals, make("p", { class: "hint" }, hint), wide, more);
}

function plainTable(heads, rows) {
  const head = heads.map((text) => make("th", { scope: "col" }, text));
  const body = rows.map(([first, ...cells]) =>
    make("tr", {}, make("th", { scope: "row" }, first), ...cells.map((text) => make("td", {}, text))),
  );
  const table = make("table", {}, make("thead", {}, make("tr", {}, ...head)), make("tbody", {}, ...body));
  return make("div", { class: "wide", tabindex: "0", role: "region", "aria-label": heads.join(", ") }, table);
}
