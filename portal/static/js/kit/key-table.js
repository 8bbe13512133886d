// The table in which each key can be given another, and the keys put back as they were.
import { KEYS, keyName, keyOf } from "kitpost/kit/keys";

const REFUSED = ["tab", "shift", "control", "alt", "meta", "escape", "?", "f5", "f11", "f12", "capslock", "dead"];

export class KeyTable {
  constructor(keys, part) {
    this.keys = keys;
    this.part = part;
    part("keys-reset").addEventListener("click", () => {
      keys.reset();
      this.show();
    });
    this.show();
  }

  show() {
    this.part("key-list").replaceChildren(...Object.keys(KEYS).map((what) => this.row(what)));
  }

  row(what) {
    const words = wordsOf(this.keys.element.querySelector(`[data-kit-do="${what}"]`));
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = keyName(this.keys.keys[what]);
    button.setAttribute("aria-label", `${words}: ${button.textContent}. Press to give it another key.`);
    button.addEventListener("click", () => this.listen(what, button));
    const row = document.createElement("li");
    row.append(Object.assign(document.createElement("span"), { textContent: words }), button);
    return row;
  }

  /** The next key is the new one; Escape leaves it as it is. */
  listen(what, button) {
    button.textContent = "Press a key";
    const take = (event) => {
      if (["Shift", "Control", "Alt", "Meta"].includes(event.key)) return;
      event.preventDefault();
      event.stopPropagation();
      this.end?.();
      const key = keyOf(event);
      const other = REFUSED.includes(key) ? null : this.keys.assign(what, key);
      this.show();
      this.part("key-said").textContent = other ? "Two keys have changed places." : "";
      this.part("key-list").children[Object.keys(KEYS).indexOf(what)].querySelector("button").focus();
    };
    this.end?.();
    this.end = () => document.removeEventListener("keydown", take, true);
    document.addEventListener("keydown", take, true);
  }
}

function wordsOf(button) {
  const copy = button.cloneNode(true);
  for (const sign of copy.querySelectorAll("kbd")) sign.remove();
  return copy.textContent.replace(/\s+/g, " ").trim();
}
