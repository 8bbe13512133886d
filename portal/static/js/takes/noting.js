// Leaving a note while it plays: the press names the bar, the words may take their time. The page stays and plays on.

/** The bars that a second press makes of what stands in the field: "33" and bar 36 give "33-36". */
export function barsUntil(text, bar) {
  const first = Number.parseInt(text, 10);
  if (!Number.isInteger(first) || first === bar) return String(bar);
  return first < bar ? `${first}-${bar}` : `${bar}-${first}`;
}

export class Noting {
  /** `barNow` is the bar that is heard, or null; `takeNow` the take. */
  constructor(element, barNow, takeNow) {
    this.form = element.querySelector("[data-note-form]");
    this.button = element.querySelector("[data-listen-note]");
    this.barNow = barNow;
    this.takeNow = takeNow;
    if (!this.form) return;
    this.bars = this.form.querySelector("[data-note-bars]");
    this.text = this.form.querySelector("[data-note-text]");
    this.on = this.form.querySelector("[data-note-on]");
    this.until = this.form.querySelector("[data-note-until]");
    this.until.hidden = false;
  }

  listen(signal) {
    if (!this.form) return;
    const on = (target, name, act) => target?.addEventListener(name, act, { signal });
    on(this.button, "click", () => this.note());
    on(this.until, "click", () => this.extend());
    on(this.form, "htmx:afterRequest", ({ detail }) => this.answered(detail));
  }

  note() {
    const bar = this.barNow();
    if (!this.form || bar === null) return;
    this.bars.value = String(bar);
    this.setTake();
    this.text.focus();
  }

  /** A note is about the take that is heard when it is begun: one with words in it stays where it is. */
  follow() {
    if (this.form && !this.text.value) this.setTake();
  }

  setTake() {
    if (this.on) this.on.value = String(this.takeNow().id);
  }

  extend() {
    const bar = this.barNow();
    if (bar !== null) this.bars.value = barsUntil(this.bars.value, bar);
    this.text.focus();
  }

  /** What could not be taken stays in the fields, to be mended or sent again. */
  answered({ successful, elt }) {
    if (elt !== this.form || !successful) return;
    if (document.querySelector("#note-list")?.dataset.noteTrouble) return;
    this.bars.value = this.text.value = "";
  }
}
