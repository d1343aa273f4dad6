/*
Makes elements of the page. All text that came from outside becomes text nodes.
*/

const CHUNK = 100;

const byId = (id) => document.getElementById(id);

/* Make an element; children that are text become text nodes, whatever they hold. */
function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null));
  return element;
}

/* A button that leads somewhere else on the page; paper has no use for it. */
function leading(text, action) {
  return make("button", { type: "button", class: "leading", onclick: action }, text);
}

function listed(sentences) {
  return make("ul", {}, ...sentences.map((sentence) => make("li", {}, sentence)));
}

function fold(id, title, ...children) {
  byId(id).replaceChildren(
    make("summary", {}, title),
    make("div", { class: "inner" }, ...children),
  );
}

/* Show a long list piece by piece: a village may have thousands of plots. */
function inPieces(parent, items, draw, size = CHUNK) {
  let next = 0;
  const more = make("button", { type: "button" });
  function grow() {
    const piece = items.slice(next, next + size);
    const start = next;
    next += piece.length;
    const drawn = piece.map((item, at) => draw(item, start + at));
    parent.append(...drawn);
    more.textContent = say("more", { count: shown(items.length - next) });
    more.hidden = next >= items.length;
    return drawn[0];
  }
  more.addEventListener("click", () => {
    const first = grow();
    const target = first && (first.querySelector("summary") || first);
    if (target) target.focus();
  });
  grow();
  return more;
}

function paragraphs(sentences) {
  return sentences.map((said) => make("p", {}, said));
}
