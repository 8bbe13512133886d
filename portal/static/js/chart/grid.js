// The chart as rows of four bars: one bar has the focus, arrows move it, and the bar that plays is lit.
import { counted } from "kitpost/chart/counting";
import { meterOf } from "kitpost/chart/edits";
import { spansSaid, WHOLE } from "kitpost/chart/spans";

const PER_ROW = 4;
// On a bar of the grid; each is on the page as a button too.
export const BAR_KEYS = {
  n: "split",
  j: "join",
  y: "copy",
  i: "insert",
  Delete: "remove",
  t: "hit",
  x: "no-hits",
  "%": "repeat",
  Enter: "from-here",
  " ": "play",
};
const SIGNS = { segno: "segno", coda: "coda", to_coda: "To Coda", fine: "Fine" };
const NOTHING = { dynamics: [], hits: [], stops: [], fills: [], words: [], road: {} };
const SHOWN = { "repeat-1": "%", "repeat-2": "% %", rest: "rest", rhythm: "rhythm", drums: "drums" };

export class ChartGrid {
  /** `onChoose(number)`, `onSection(section, {letter or name})`. */
  constructor(element, { onChoose, onSection }) {
    this.element = element;
    this.onSection = onSection;
    this.lit = null;
    element.addEventListener("focusin", (event) => {
      const number = Number(event.target.closest("[data-bar]")?.dataset.bar);
      if (number) onChoose(number);
    });
    element.addEventListener("change", (event) => this.change(event.target));
  }

  change(field) {
    const section = field.closest("[data-section]")?.dataset.section;
    if (section !== undefined && field.name) this.onSection(Number(section), { [field.name]: field.value.trim() });
  }

  show(chart, { chosen, labels, counts, problems }) {
    const hadFocus = this.element.contains(document.activeElement) && document.activeElement.matches("[data-bar]");
    const shape = chart.sections.map(({ bars }) => bars.length).join();
    const isSame = shape === this.shape;
    this.shape = shape;
    // Where no bar came or went, what is on the page stays, and with it a click that is under way.
    if (!isSame) this.element.replaceChildren(...chart.sections.map((section, at) => this.section(section, at)));
    let number = 0;
    for (const [at, section] of chart.sections.entries()) {
      const row = this.element.children[at];
      this.name(row, section);
      row.querySelector(".chart-count").textContent = counts[at] ?? "";
      const bars = row.querySelectorAll("[data-bar]");
      for (const [index, bar] of section.bars.entries())
        this.bar(bars[index], chart, bar, ++number, { chosen, labels, problems });
    }
    if (hadFocus && !isSame) this.focus(chosen);
    this.light(this.lit);
  }

  section({ bars: written }, at) {
    const fields = [
      ["letter", "Letter", "short"],
      ["name", "Name", ""],
    ].map(([name, words, className]) =>
      make("label", {}, `${words} `, make("input", { name, className, maxLength: 80 })),
    );
    const bars = written.map(() => make("li", {}, make("button", { type: "button" })));
    for (const bar of bars) bar.firstChild.dataset.bar = "";
    const count = make("span", { className: "small chart-count" });
    const head = make("div", { className: "chart-section-head" }, ...fields, count);
    const row = make("section", { className: "chart-section" }, head, make("ol", { className: "chart-bars" }, ...bars));
    row.dataset.section = at;
    return row;
  }

  name(row, { letter = "", name = "" }) {
    row.setAttribute("aria-label", `Section ${letter} ${name}`.trim());
    for (const [field, value] of Object.entries({ letter, name })) {
      const input = row.querySelector(`[name="${field}"]`);
      if (input !== document.activeElement) input.value = value;
    }
  }

  bar(button, chart, bar, number, { chosen, labels, problems }) {
    const label = labels[number] ?? "";
    const fault = problems.filter((one) => one.bar === number);
    const words = wordsOf(chart, bar);
    button.replaceChildren(
      make("span", { className: "chart-number" }, label),
      fault.length ? make("b", { className: "chart-fault", textContent: "!", ariaHidden: "true" }) : "",
      make("span", { className: "chart-shows" }, ...signsOf(chart, bar)),
      make("span", { className: "chart-words" }, words),
    );
    button.dataset.bar = number;
    button.tabIndex = number === chosen ? 0 : -1;
    button.classList.toggle("has-problem", fault.length > 0);
    button.setAttribute("aria-current", String(number === chosen));
    button.setAttribute("aria-label", labelOf(chart, bar, label, fault));
  }

  focus(number) {
    this.element.querySelector(`[data-bar="${number}"]`)?.focus({ preventScroll: false });
  }

  choose(number) {
    for (const button of this.element.querySelectorAll("[data-bar]")) {
      const isChosen = Number(button.dataset.bar) === number;
      button.tabIndex = isChosen ? 0 : -1;
      button.setAttribute("aria-current", String(isChosen));
    }
  }

  /** The bar that plays; null for none. */
  light(number) {
    this.lit = number;
    for (const button of this.element.querySelectorAll(".is-playing")) button.classList.remove("is-playing");
    this.element.querySelector(`[data-bar="${number}"]`)?.classList.add("is-playing");
  }
}

/** Where an arrow leads from bar `number` of `count`; null where the key is none. */
export function barAfterKey(key, number, count) {
  const steps = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -PER_ROW, ArrowDown: PER_ROW };
  if (key === "Home") return 1;
  if (key === "End") return count;
  return key in steps ? Math.min(Math.max(1, number + steps[key]), count) : null;
}

function signsOf(chart, bar) {
  const shows = bar.shows ?? "slashes";
  const beats = Number(meterOf(chart, bar).split("/")[0]);
  const middle = shows === "slashes" ? "/ ".repeat(Math.min(beats, 12)).trim() : SHOWN[shows];
  const { repeat_start: start, repeat_end: end } = bar.road ?? {};
  return [start ? "|: " : "", middle, end ? " :|" : ""];
}

function wordsOf(chart, bar) {
  const { dynamics, hits, stops, fills, held, words, road } = { ...NOTHING, ...bar };
  const said = [
    bar.meter === chart.meter ? "" : bar.meter,
    ...dynamics.map(({ level }) => level),
    hits.length && `hits ${hits.map(({ beat }) => counted(meterOf(chart, bar), beat)).join(", ")}`,
    spanWords("stop", meterOf(chart, bar), stops),
    spanWords("fill", meterOf(chart, bar), fills),
    held && `hold ${counted(meterOf(chart, bar), held)}`,
    ...roadWords(road),
    ...words.map(({ text }) => text),
  ];
  return said.filter(Boolean).join(" · ");
}

/** "fill 3-4"; of a whole bar the name is enough. */
function spanWords(name, meter, spans) {
  const beats = spansSaid(meter, spans);
  return beats === WHOLE ? name : beats && `${name} ${beats}`;
}

function roadWords({ ending = [], jump, ...signs }) {
  const flags = Object.entries(SIGNS).map(([name, words]) => signs[name] && words);
  return [ending.length && `ending ${ending.join(", ")}`, ...flags, jump && jumpWords(jump)];
}

function jumpWords({ to = "segno", until = "end" }) {
  const where = { end: "", coda: " al Coda", fine: " al Fine" }[until] ?? "";
  return `${to === "start" ? "D.C." : "D.S."}${where}`;
}

function labelOf(chart, bar, label, fault) {
  const shows = bar.shows ?? "slashes";
  const said = [`Bar ${label}`, shows, wordsOf(chart, bar), ...fault.map((one) => one.sentence)];
  return said.filter(Boolean).join(", ");
}

function make(tag, properties, ...children) {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...children.filter((child) => child !== ""));
  return element;
}
