// The note before the first sound of a session: turn down first. Shown once a session; a browser that keeps nothing
// sees it once a page.
const NOTE_SHOWN = "kitpost-hearing-note";
let taken = false;

export function noteTaken() {
  try {
    return taken || sessionStorage.getItem(NOTE_SHOWN) === "yes";
  } catch {
    return taken;
  }
}

function takeNote() {
  taken = true;
  try {
    sessionStorage.setItem(NOTE_SHOWN, "yes");
  } catch {
    // Storage is off: `taken` holds for this page.
  }
}

/** Put the note at the top of `element`; its button takes it and calls `goOn`. */
export function showHearingNote(element, goOn) {
  if (element.querySelector(".hearing")) return;
  const note = document.createElement("div");
  note.className = "hearing";
  note.setAttribute("role", "note");
  const text = document.createElement("p");
  text.textContent =
    "Turn your headphones down before you put them on, then bring the level up slowly. Take breaks. " +
    "Ringing or dullness afterwards is a warning: rest your ears, and see an audiologist if it stays.";
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = "I have turned down: play";
  button.addEventListener("click", () => {
    takeNote();
    note.remove();
    goOn();
  });
  note.append(text, button);
  element.prepend(note);
  button.focus();
}
