/*
Cautions, sources, and what must be known of the page.
*/

function startNotes() {
  fold("cautions", data.cautions.title, listed(data.cautions.texts));
  const sources = data.sources.map((table) => make("li", {}, table.title, listed(table.cited)));
  fold(
    "about",
    data.words.about,
    make("p", {}, data.set_aside),
    ...(data.warnings.length ? [make("h3", {}, data.words.warnings), listed(data.warnings)] : []),
    make("h3", {}, data.words.sources),
    make("p", {}, data.words.sources_lead),
    make("ul", {}, ...sources),
    make("p", {}, data.words.map_notice),
  );
  byId("card-empty").textContent = data.words.card_empty;
  byId("review").textContent = data.words.review;
}
