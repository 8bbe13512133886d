// The fields of the bar that has the focus: what it shows, its meter, dynamic and words, and its signs of the road.
import { counted } from "kitpost/chart/counting";
import { meterOf, withBar, withHits, withRhythm, withRoad, withStrokes } from "kitpost/chart/edits";
import { entryIn, possibleWords, voiceOf } from "kitpost/chart/entries";
import { rhythmSaid } from "kitpost/chart/rhythm";
import { spansSaid, wholeBar } from "kitpost/chart/spans";

// What is left out of a bar, and of its road.
const NO_BAR = { shows: "slashes", notes: [], dynamics: [{ level: "" }], words: [], hits: [], stops: [], fills: [] };
const NO_ROAD = { repeat_end: "", ending: [], jump: "" };
const FLAGS = ["repeat_start", "segno", "coda", "to_coda", "fine"];

export class BarForm {
  /** `onChange(edit)`: `edit` is a function from chart and bar to the new chart. `onWrong(sentence)`: what was typed is
   *  nothing that can be there; it stays in its field, which is marked. */
  constructor(element, { onChange, onWrong }) {
    Object.assign(this, { element, onChange, onWrong, shown: {} });
    element.addEventListener("change", (event) => this.change(event.target));
  }

  change(field) {
    const entry = entryIn(field.name, field.value, this.meter);
    const sentence = entry === null ? possibleWords(field.name, this.meter) : "";
    mark(field, sentence);
    if (entry === null) return this.onWrong(sentence);
    const edit = editOf(field, entry);
    if (edit) this.onChange(edit);
  }

  /** The field whose entry is nothing that can be there; null where all was taken. */
  get wrong() {
    return this.element.querySelector("[aria-invalid]");
  }

  field(name) {
    return this.element.querySelector(`[name="${name}"]`);
  }

  /** What is being typed about this bar stays: the server may answer meanwhile. */
  show(chart, number, label, bar) {
    if (number !== this.number) this.forget();
    this.number = number;
    this.meter = meterOf(chart, bar);
    this.element.querySelector("legend").textContent = `Bar ${label}`;
    const whole = { ...NO_BAR, ...bar };
    for (const [name, value] of Object.entries(textsOf(whole, this.meter))) this.put(name, String(value));
    this.showNotes(whole);
    const checked = { stop: whole.stops.length, fill: whole.fills.length, ...whole.road };
    for (const name of ["stop", "fill", ...FLAGS]) this.field(name).checked = Boolean(checked[name]);
  }

  /** Written notes are in sight where a bar has some. */
  showNotes({ shows, notes }) {
    this.put("rhythm", shows === "rhythm" ? rhythmSaid(this.meter, notes) : "");
    for (const { name } of this.element.querySelectorAll("[data-chart-drum]")) {
      const strokes = shows === "drums" ? notes.filter((note) => note.voice === voiceOf(name)) : [];
      this.put(name, strokes.map(({ beat }) => counted(this.meter, beat)).join(", "));
    }
    for (const name of ["rhythm", "drums"]) this.element.querySelector(`[data-chart-${name}]`).open ||= shows === name;
  }

  /** Another bar: nothing was typed about it. */
  forget() {
    this.shown = {};
    for (const field of this.element.querySelectorAll("[aria-invalid]")) mark(field, "");
  }

  put(name, value) {
    const field = this.field(name);
    const isHeld = field === document.activeElement || field.hasAttribute("aria-invalid");
    const isTyped = isHeld && name in this.shown && field.value !== this.shown[name];
    if (!isTyped) field.value = value;
    this.shown[name] = value;
  }
}

/** What each field shows of a bar. */
function textsOf({ shows, dynamics, words, hits, stops, fills, held, road }, meter) {
  const { repeat_end: end, ending, jump } = { ...NO_ROAD, ...road };
  return {
    shows,
    meter,
    level: dynamics[0].level,
    hits: hits.map(({ beat }) => counted(meter, beat)).join(", "),
    words: words.map(({ text }) => text).join("; "),
    stops: spansSaid(meter, stops),
    fills: spansSaid(meter, fills),
    held: held ? counted(meter, held) : "",
    repeat_end: end,
    ending: ending.join(", "),
    jump: jumpSaid(jump),
  };
}

/** What could be in a field instead of its entry. */
export function wrongWords(field) {
  return field.parentElement.querySelector(".chart-wrong").textContent;
}

/** Beside the field; the page's status line says the same to those who do not see it. */
function mark(field, sentence) {
  field.parentElement.querySelector(".chart-wrong")?.remove();
  if (!sentence) return field.removeAttribute("aria-invalid");
  field.setAttribute("aria-invalid", "true");
  const words = Object.assign(document.createElement("small"), { className: "chart-wrong", textContent: sentence });
  words.setAttribute("aria-hidden", "true");
  field.after(words);
}

/** The edit that a changed field means; `value` as it was read. */
function editOf({ name, checked }, value) {
  if (FLAGS.includes(name)) return (chart, number) => withRoad(chart, number, { [name]: checked });
  const voice = voiceOf(name);
  if (voice) return (chart, number) => withStrokes(chart, number, voice, value);
  const edits = {
    shows: (chart, number) =>
      withBar(chart, number, { shows: value === "slashes" ? null : value, notes: null }, "content"),
    meter: (chart, number) =>
      withBar(chart, number, { meter: value === (chart.meter ?? "4/4") ? null : value }, "meter"),
    level: (chart, number) => withBar(chart, number, { dynamics: value ? [{ level: value }] : null }, "dynamics"),
    hits: (chart, number) => withHits(chart, number, value),
    rhythm: (chart, number) => withRhythm(chart, number, value),
    words: (chart, number, bar) => withBar(chart, number, { words: wordsIn(value, bar.words ?? []) }, "words"),
    stop: (chart, number, bar) => withBar(chart, number, { stops: checked ? whole(chart, bar) : null }, "stops"),
    fill: (chart, number, bar) => withBar(chart, number, { fills: checked ? whole(chart, bar) : null }, "fills"),
    stops: (chart, number) => withBar(chart, number, { stops: value }, "stops"),
    fills: (chart, number) => withBar(chart, number, { fills: value }, "fills"),
    held: (chart, number) => withBar(chart, number, { held: value }, "words"),
    repeat_end: (chart, number) => withRoad(chart, number, { repeat_end: value }),
    ending: (chart, number) => withRoad(chart, number, { ending: value }),
    jump: (chart, number) => withRoad(chart, number, { jump: jumpIn(value) }),
  };
  return edits[name] ?? null;
}

/** Words that stay as they are keep their beat, and whether they are a cue. */
function wordsIn(value, before) {
  const texts = value.split(";").map((text) => text.trim());
  return texts.filter(Boolean).map((text) => before.find((one) => one.text === text) ?? { text });
}

function whole(chart, bar) {
  return [wholeBar(meterOf(chart, bar))];
}

function jumpSaid(jump) {
  return jump ? `${jump.to ?? "segno"}-${jump.until ?? "end"}` : "";
}

function jumpIn(value) {
  if (!value) return null;
  const [to, until] = value.split("-");
  return { to, until };
}
