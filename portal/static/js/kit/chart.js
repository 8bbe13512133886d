// The engraved chart at the kit: its pages turn by themselves, and the bar that plays is lit.

export class KitChart {
  /** `pages`: SVG texts as the house drew them; each bar names the bars of the song that it is played as. */
  constructor(part, pages) {
    this.element = part("chart");
    this.bar = null;
    this.pages = pages.map(drawnOf).filter(Boolean);
    this.element.hidden = !this.pages.length;
    part("bars").hidden = this.pages.length > 0;
    this.turnTo(0);
  }

  show(where) {
    const bar = where?.bar ?? null;
    if (bar === this.bar || !this.pages.length) return;
    this.bar = bar;
    for (const lit of this.element.querySelectorAll(".is-playing")) lit.classList.remove("is-playing");
    const at = this.pages.findIndex((page) => page.querySelector(`[data-song-bars~="${bar}"]`));
    if (at < 0) return;
    this.turnTo(at);
    this.pages[at].querySelector(`[data-song-bars~="${bar}"]`).classList.add("is-playing");
  }

  turnTo(at) {
    if (!this.pages[at] || this.element.firstChild === this.pages[at]) return;
    this.element.replaceChildren(this.pages[at]);
    this.element.setAttribute("aria-label", `Chart, page ${at + 1} of ${this.pages.length}`);
  }
}

/** A drawing of the house as an element of this page; null where it is none. */
function drawnOf(text) {
  const drawn = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  if (drawn.localName !== "svg") return null;
  drawn.removeAttribute("width");
  drawn.removeAttribute("height");
  return document.adoptNode(drawn);
}
