/*
What is said in the page's language: sentences, numbers, weights, names of a bearable length.
*/

/* A name as it is shown: some would leave room for nothing else, or turn what stands beside them. */
function brief(name) {
  return odd.get(name) ?? name;
}

function learn(names) {
  for (const [name, said] of names) odd.set(name, said);
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
