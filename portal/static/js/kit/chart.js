// The engraved chart at the kit: its pages turn by themselves, and the bar that plays is lit.

const HIDDEN = "kitpost-kit-chart-hidden";

export class KitChart {
  /** `pages`: SVG texts as the house drew them; each bar names the bars of the song that it is played as. */
  constructor(part, pages) {
    this.element = part("chart");
    this.bar = null;
    this.pages = pages.map(drawnOf).filter(Boolean);
    this.bars = part("bars");
    this.button = part("chart-button");
    this.button.hidden = !this.pages.length;
    this.isHidden = stored();
    this.turnTo(0);
    this.showOrHide();
  }

  /** The chart, or the bars as figures; kept for the next visit on this device. */
  toggle() {
    if (!this.pages.length) return;
    this.isHidden = !this.isHidden;
    keep(this.isHidden);
    this.showOrHide();
  }

  showOrHide() {
    const isShown = this.pages.length > 0 && !this.isHidden;
    this.element.hidden = !isShown;
    this.bars.hidden = isShown;
    this.button.querySelector("span").textContent = isShown ? "Hide the chart" : "Show the chart";
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

function stored() {
  try {
    return localStorage.getItem(HIDDEN) === "yes";
  } catch {
    return false;
  }
}

function keep(isHidden) {
  try {
    localStorage.setItem(HIDDEN, isHidden ? "yes" : "no");
  } catch {
    // Storage is off: it holds until the page is closed.
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
