/*
The box to search by, and what it finds, by keyboard and by hand.
*/

const FOUND_MAX = 20;

function goTo(entry, opener) {
  if (entry.place !== undefined) openPlace(entry.place, opener);
  else openVillage(villages[entry.village]);
}

function resultItem(entry, at, known) {
  const village = villages[entry.village];
  const farmer = entry.place === undefined || known.farmer === null ? null : known.farmer[entry.place];
  const texts = village
    ? [village.name, say("village_result", { count: shown(village.end - village.start) })]
    : [brief(known.id[entry.place]), [farmer && brief(farmer), villageOf(entry.place).name].filter((part) => part).join(", ")];
  const item = make("li", { id: `found-${at}`, role: "option", "aria-selected": "false" });
  item.append(texts[0], " ", make("small", {}, texts[1]));
  return item;
}

function startSearch() {
  const input = make("input", {
    id: "search-input",
    type: "search",
    role: "combobox",
    autocomplete: "off",
    spellcheck: "false",
    placeholder: data.words.search_hint,
    "aria-expanded": "false",
    "aria-controls": "found",
    "aria-autocomplete": "list",
  });
  const list = make("ul", { id: "found", role: "listbox", "aria-label": data.words.search, hidden: "" });
  const status = make("p", { class: "status", role: "status" });
  const label = make("label", { for: "search-input" }, data.words.search);
  let entries = [];
  let chosen = -1;

  function mark(at) {
    chosen = at;
    [...list.children].forEach((item, i) => item.setAttribute("aria-selected", String(i === at)));
    if (at < 0) input.removeAttribute("aria-activedescendant");
    else {
      input.setAttribute("aria-activedescendant", `found-${at}`);
      list.children[at].scrollIntoView({ block: "nearest" });
    }
  }

  function hide() {
    list.hidden = true;
    input.setAttribute("aria-expanded", "false");
    mark(-1);
  }

  function choose(at) {
    const entry = entries[at];
    hide();
    status.textContent = "";
    goTo(entry, input);
  }

  async function refresh() {
    const text = input.value;
    if (text.trim()) status.textContent = data.words.search_loading;
    const [found, known] = await tracked(Promise.all([finder.find(text), text.trim() && finder.ready()]));
    // What was typed since then has its own answer.
    if (text === input.value) showFound(found, known);
  }

  function showFound(found, known) {
    entries = found.slice(0, FOUND_MAX);
    list.replaceChildren(...entries.map((entry, at) => resultItem(entry, at, known)));
    [...list.children].forEach((item, at) => item.addEventListener("click", () => choose(at)));
    list.hidden = !entries.length;
    input.setAttribute("aria-expanded", String(!list.hidden));
    mark(entries.length ? 0 : -1);
    const left = found.length - entries.length;
    if (!input.value.trim()) status.textContent = "";
    else if (!found.length) status.textContent = data.words.search_none;
    else if (left) status.textContent = say("search_more", { count: shown(left) });
    else status.textContent = say("search_found", { count: shown(found.length) });
  }

  const keys = {
    ArrowDown: () => mark((chosen + 1) % entries.length),
    ArrowUp: () => mark((chosen - 1 + entries.length) % entries.length),
    Enter: () => choose(Math.max(0, chosen)),
  };
  const sought = () =>
    refresh().catch((fault) => {
      status.textContent = "";
      missed(fault);
    });
  input.addEventListener("input", sought);
  input.addEventListener("focus", () => input.value && sought());
  input.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !list.hidden) {
      // The list closes, and not the card below it too.
      event.preventDefault();
      hide();
    }
    if (list.hidden || !keys[event.key]) return;
    event.preventDefault();
    keys[event.key]();
  });
  document.addEventListener("pointerdown", (event) => {
    if (!byId("search").contains(event.target)) hide();
  });
  // The list lies over what follows; the status line is read out, and seen while it is hidden.
  byId("search").append(label, input, list, status);
}
