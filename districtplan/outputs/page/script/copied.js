/*
Coordinates that can be copied. Where a page may not write to the clipboard, as some browsers hold
it of pages opened from a disk, the text is selected, so that it can be copied by hand.
*/

function coordinatesLine(text) {
  const written = make("span", { class: "copied" }, text);
  const status = make("small", { role: "status" });
  const tell = (said) => {
    status.textContent = said;
  };
  const byHand = () => {
    getSelection().selectAllChildren(written);
    tell(data.words.copy_by_hand);
  };
  const copy = () => copied(text).then(() => tell(data.words.copy_done), byHand);
  const name = say("copy_what", { what: data.words.place });
  const button = make("button", { type: "button", "aria-label": name, onclick: copy }, data.words.copy);
  const entry = line("place", "");
  entry.lastChild.append(written, " ", button, status);
  return entry;
}

async function copied(text) {
  // No clipboard is there outside of what a browser holds for secure.
  await navigator.clipboard.writeText(text);
}
