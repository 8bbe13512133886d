// A map that an earlier visit left in this browser is offered: to go on with, or to throw away.
import { agoWords } from "kitpost/lib/unsaved";

export class Offer {
  constructor(element, unsaved) {
    this.box = element.querySelector("[data-map-offer]");
    this.text = element.querySelector("[data-map-offer-text]");
    this.unsaved = unsaved;
    this.found = null;
  }

  /** Offered beside the map `start`, if there is another one. */
  make(start) {
    this.found = this.unsaved.offer(start);
    if (!this.found) return;
    const { began, atMs } = this.found;
    const version = began ? `version ${began}` : "the measured map";
    const isOlder = began !== this.unsaved.began;
    const since = isOlder ? ` It started from ${version}; another map has been approved since then.` : "";
    const ago = agoWords(Date.now() - atMs);
    this.text.textContent = `An unapproved map is saved in this browser, last changed ${ago}.${since}`;
    this.box.hidden = false;
  }

  drop() {
    this.unsaved.drop(this.found.key);
    this.box.hidden = true;
  }
}
