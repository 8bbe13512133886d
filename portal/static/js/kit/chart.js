// The engraved chart at the kit: its pages turn by themselves, a bar ahead, and the bar that plays is lit.

const HIDDEN = "kitpost-kit-chart-hidden";
// Staff heights below the bar that plays that are in sight: the next line, with what stands above it (house choice).
const LINES_AHEAD = 4;
// Room for two pages beside each other that are read from the kit (house choice).
const ROOM_FOR_TWO = "(min-width: 64rem) and (min-aspect-ratio: 4/3)";

export class KitChart {
  /** `pages`: SVG texts as the house drew them; each bar names the bars of the song that it is played as. */
  constructor(part, pages) {
    this.element = part("chart");
    this.bar = this.next = null;
    this.pages = pages.map(drawnOf).filter(Boolean);
    this.pageOf = new Map(this.pages.flatMap((page, at) => songBarsOn(page).map((bar) => [bar, at])));
    this.room = matchMedia(ROOM_FOR_TWO);
    this.onRoom = () => this.turn();
    this.room.addEventListener("change", this.onRoom);
    this.shown = [];
    this.bars = part("bars");
    this.keys = part("keys");
    this.button = part("chart-button");
    this.button.hidden = !this.pages.length;
    this.isHidden = stored();
    this.turn();
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

  /** `next`: the bar that is played after `bar`; `bar` itself while nothing plays. */
  show(bar, next) {
    if (!this.pages.length || (bar === this.bar && next === this.next)) return;
    Object.assign(this, { bar, next });
    for (const lit of this.element.querySelectorAll(".is-playing")) lit.classList.remove("is-playing");
    const page = this.pages[this.pageOf.get(bar)];
    if (!page) return;
    this.turn();
    const lit = page.querySelector(`[data-song-bars~="${bar}"]`);
    lit.classList.add("is-playing");
    this.keepInSight(lit);
  }

  /** On a small screen the keys lie over the chart's end. Who has scrolled away from the chart is left there. */
  keepInSight(lit) {
    const chart = this.element.getBoundingClientRect();
    const endPx = Math.min(innerHeight, this.keys.getBoundingClientRect().top);
    if (chart.bottom <= 0 || chart.top >= endPx) return;
    const { top, bottom } = lit.getBoundingClientRect();
    const endsPx = Math.min(chart.bottom, bottom + LINES_AHEAD * (bottom - top));
    scrollBy(0, Math.min(top, Math.max(0, endsPx - endPx)));
  }

  /** Alone, a page gives way in its last bar; of two the one that plays stays where it is, and what comes stands beside
   *  it. */
  turn() {
    const at = this.pageOf.get(this.bar) ?? 0;
    const coming = this.pageOf.get(this.next) ?? at;
    const isRoom = this.pages.length > 1 && this.room.matches;
    this.put(isRoom ? this.beside(at, coming) : [coming]);
  }

  /** Page `at` and the one that comes, each where it stands already. */
  beside(at, coming) {
    const [left, right] = this.shown;
    const after = at + 1 < this.pages.length ? at + 1 : at - 1;
    const other = coming === at ? after : coming;
    const isRight = right === at || (left !== at && other < at);
    return isRight ? [other, at] : [at, other];
  }

  put(shown) {
    const drawn = shown.map((at) => this.pages[at]).filter(Boolean);
    this.shown = shown;
    if (drawn.length === this.element.children.length && drawn.every((page, at) => page === this.element.children[at]))
      return;
    this.element.replaceChildren(...drawn);
    this.element.dataset.pages = drawn.length;
    const numbers = shown.map((at) => at + 1).join(" and ");
    this.element.setAttribute("aria-label", `Chart, page ${numbers} of ${this.pages.length}`);
  }

  leave() {
    this.room.removeEventListener("change", this.onRoom);
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

function songBarsOn(page) {
  const bars = [...page.querySelectorAll("[data-song-bars]")];
  return bars.flatMap((bar) => bar.dataset.songBars.split(" ").filter(Boolean).map(Number));
}
