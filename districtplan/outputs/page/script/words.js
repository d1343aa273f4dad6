/*
What is said in the page's language: sentences, numbers, weights, names of a bearable length.
*/

const NAME_MAX = 120;

/* A name as it is shown: one of thousands of signs would leave room for nothing else. */
function brief(name) {
  const signs = [...name.slice(0, 2 * NAME_MAX)];
  return signs.length > NAME_MAX ? `${signs.slice(0, NAME_MAX - 1).join("")}…` : name;
}

function say(key, values = {}) {
  return data.words[key].replace(/\{(\w+)\}/g, (_, name) => values[name]);
}

const formats = new Map();

function shown(value, digits = 0) {
  if (!formats.has(digits)) {
    const exact = { minimumFractionDigits: digits, maximumFractionDigits: digits };
    formats.set(digits, new Intl.NumberFormat(data.language, exact));
  }
  return formats.get(digits).format(value);
}

/* The same rule as on paper: two decimals below 10 kg, one below 100 kg, none above. */
function kilograms(grams) {
  return shown(grams / 1000, grams < 10000 ? 2 : grams < 100000 ? 1 : 0);
}
