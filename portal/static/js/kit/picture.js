// The form as large bars: a strip of all sections, and the bars of the one that plays.
import { announcement } from "kitpost/kit/form";

// More bars than this are shown a window at a time: they stay large enough for two metres.
const MOST_BARS = 16;
const NOWHERE = { bar: "", beats: "", next: "", tempo: "–", meter: "", pace: "" };

export class Picture {
  /** `part`: finds a part of the page by its name. */
  constructor(part, onSection) {
    this.part = part;
    this.onSection = onSection;
  }

  /** `first`: `whereAt` of the first bar, whose tempo and meter stand there before it; null without bars. */
  showForm(form, first) {
    this.form = form;
    this.first = first;
    this.before = NOWHERE;
    this.shown = {};
    const items = form.map((section, at) => {
      const item = make("li", { className: "kit-section" });
      item.style.flexGrow = section.bars;
      const button = make("button", { type: "button" });
      button.append(...letterAndName(section.label));
      button.setAttribute("aria-label", `Section ${section.label}, from bar ${section.bar}`);
      button.addEventListener("click", (event) => {
        if (event.detail) button.blur(); // a pointer's: Space is the page's again
        this.onSection(at);
      });
      item.append(button);
      return item;
    });
    this.part("form").replaceChildren(...items);
  }

  /** `where` of `whereAt`, or null before the first bar. Nothing is written that stands there already. */
  show(where, speed = 1) {
    const section = where && this.form[where.section];
    const texts = where
      ? { ...textsOf(where), ...tempoTexts(where, speed) }
      : { ...this.before, ...this.tempoBefore(speed) };
    const ofSection = section ? sectionTexts(section, where) : { section: "", of: beforeText(this.form) };
    for (const [name, text] of Object.entries({ ...texts, ...ofSection })) this.write(name, text);
    this.light(where ? where.section : -1);
    if (section) this.showBars(section, where.bar);
  }

  tempoBefore(speed) {
    return this.first ? tempoTexts(this.first, speed) : {};
  }

  /** The count before the song begins, as large as a bar is later. `count`: {beat, beats}. */
  showCount({ beat, beats }) {
    const texts = { bar: "", section: String(beat), of: "count-in", next: "", beats: beatsText({ beat, beats }) };
    for (const [name, text] of Object.entries(texts)) this.write(name, text);
  }

  write(name, text) {
    if (this.shown[name] === text) return;
    this.shown[name] = text;
    this.part(name).textContent = text;
    // The style sheet makes a long name small enough to stand there whole.
    if (name === "section") this.part(name).style.setProperty("--letters", Math.max(text.length, 2));
  }

  light(at) {
    if (this.shown.lit === at) return;
    this.shown.lit = at;
    for (const [index, item] of [...this.part("form").children].entries()) mark(item, index === at);
  }

  showBars(section, bar) {
    const page = Math.floor((bar - section.bar) / MOST_BARS);
    const first = section.bar + page * MOST_BARS;
    const key = `${first}:${section.label}`;
    const list = this.part("bars");
    if (this.shown.page !== key) {
      this.shown.page = key;
      const count = Math.min(MOST_BARS, section.bar + section.bars - first);
      list.toggleAttribute("data-few", count <= 4);
      list.replaceChildren(...Array.from({ length: count }, (_, at) => make("li", { textContent: first + at })));
    }
    if (this.shown.barLit === bar) return;
    this.shown.barLit = bar;
    for (const [at, item] of [...list.children].entries()) mark(item, first + at === bar);
  }
}

/** "D Chorus" as two parts: where there is little room only the letter stands. */
function letterAndName(label) {
  const { letter, name } = /^(?<letter>[A-Z]+\d*)\s+(?<name>.+)$/.exec(label)?.groups ?? {};
  const texts = letter ? [make("b", { textContent: letter }), " ", make("span", { textContent: name })] : [];
  return letter ? texts : [make("b", { textContent: label })];
}

function textsOf(where) {
  return { bar: String(where.bar), beats: beatsText(where), next: announcement(where) };
}

/** As it is played; behind it how fast that is beside the song's own tempo. */
function tempoTexts({ bpm, free, meter }, speed) {
  const played = bpm && `${rounded(bpm * speed)} BPM`;
  const pace = `${Math.round(speed * 100)} %${bpm && speed < 1 ? ` of ${rounded(bpm)}` : ""}`;
  return { tempo: played || (free ? "free" : "–"), meter: meter ?? "", pace };
}

function rounded(bpm) {
  return Math.round(bpm * 100) / 100;
}

function sectionTexts(section, where) {
  const at = where.bar - section.bar + 1;
  return { section: section.label, of: at > section.bars ? "after the last bar" : `bar ${at} of ${section.bars}` };
}

function beforeText([first]) {
  return first ? `before bar ${first.bar}` : "";
}

function beatsText({ beat, beats, free }) {
  if (free || !beats) return "";
  return Array.from({ length: beats }, (_, at) => (at < beat ? "●" : "○")).join(" ");
}

function mark(item, isNow) {
  if (isNow) item.setAttribute("aria-current", "true");
  else item.removeAttribute("aria-current");
}

function make(tag, properties) {
  return Object.assign(document.createElement(tag), properties);
}
