// The fields of the bar that has the focus: what it shows, its meter, dynamic and words, and its signs of the road.
import { beatsIn, counted } from "kitpost/chart/counting";
import { meterOf, withBar, withHits, withRoad } from "kitpost/chart/edits";

// What is left out of a bar, and of its road.
const NO_BAR = { shows: "slashes", dynamics: [{ level: "" }], words: [], hits: [], stops: [], fills: [] };
const NO_ROAD = { repeat_end: "", ending: [], jump: "" };
const FLAGS = ["repeat_start", "segno", "coda", "to_coda", "fine"];

export class BarForm {
  /** `onChange(edit, said)`: `edit` is a function from chart and bar to the new chart. */
  constructor(element, onChange) {
    this.element = element;
    this.shown = {};
    element.addEventListener("change", (event) => {
      const edit = editOf(event.target);
      if (edit) onChange(edit);
    });
  }

  field(name) {
    return this.element.querySelector(`[name="${name}"]`);
  }

  /** What is being typed about this bar stays: the server may answer meanwhile. */
  show(chart, number, label, bar) {
    if (number !== this.number) this.shown = {};
    this.number = number;
    this.element.querySelector("legend").textContent = `Bar ${label}`;
    const { shows, dynamics, words, hits, stops, fills } = { ...NO_BAR, ...bar };
    const { repeat_end: end, ending, jump, ...flags } = { ...NO_ROAD, ...bar.road };
    const values = {
      shows,
      meter: meterOf(chart, bar),
      level: dynamics[0].level,
      hits: hits.map(({ beat }) => counted(meterOf(chart, bar), beat)).join(", "),
      words: words.map(({ text }) => text).join("; "),
      repeat_end: end,
      ending: ending.join(", "),
      jump: jumpSaid(jump),
    };
    for (const [name, value] of Object.entries(values)) this.put(name, String(value));
    const checked = { stop: stops.length, fill: fills.length, ...flags };
    for (const name of ["stop", "fill", ...FLAGS]) this.field(name).checked = Boolean(checked[name]);
  }

  put(name, value) {
    const field = this.field(name);
    const isTyped = field === document.activeElement && name in this.shown && field.value !== this.shown[name];
    if (!isTyped) field.value = value;
    this.shown[name] = value;
  }
}

/** The edit that a changed field means. */
function editOf({ name, value, checked }) {
  if (FLAGS.includes(name)) return (chart, number) => withRoad(chart, number, { [name]: checked });
  const edits = {
    shows: (chart, number) =>
      withBar(chart, number, { shows: value === "slashes" ? null : value, notes: null }, "content"),
    meter: (chart, number) => {
      const isMeter = /^\d{1,2}\/(1|2|4|8|16|32)$/.test(value.trim());
      const meter = value.trim() === (chart.meter ?? "4/4") ? null : value.trim();
      return isMeter ? withBar(chart, number, { meter }, "meter") : chart;
    },
    level: (chart, number) => withBar(chart, number, { dynamics: value ? [{ level: value }] : null }, "dynamics"),
    hits: (chart, number, bar) => withHits(chart, number, beatsIn(meterOf(chart, bar), value)),
    words: (chart, number, bar) => withBar(chart, number, { words: wordsIn(value, bar.words ?? []) }, "words"),
    stop: (chart, number, bar) => withBar(chart, number, { stops: checked ? wholeBar(chart, bar) : null }, "stops"),
    fill: (chart, number, bar) => withBar(chart, number, { fills: checked ? wholeBar(chart, bar) : null }, "fills"),
    repeat_end: (chart, number) => withRoad(chart, number, { repeat_end: times(value) }),
    ending: (chart, number) => withRoad(chart, number, { ending: passesIn(value) }),
    jump: (chart, number) => withRoad(chart, number, { jump: jumpIn(value) }),
  };
  return edits[name] ?? null;
}

/** Words that stay as they are keep their beat, and whether they are a cue. */
function wordsIn(value, before) {
  const texts = value.split(";").map((text) => text.trim());
  return texts.filter(Boolean).map((text) => before.find((one) => one.text === text) ?? { text });
}

function wholeBar(chart, bar) {
  return [{ beat: 1, beats: Number(meterOf(chart, bar).split("/")[0]) }];
}

function times(value) {
  const count = Number(value);
  return Number.isInteger(count) && count >= 2 ? count : 0;
}

function passesIn(value) {
  return (value.match(/\d+/g) ?? []).map(Number).filter((pass) => pass > 0);
}

function jumpSaid(jump) {
  return jump ? `${jump.to ?? "segno"}-${jump.until ?? "end"}` : "";
}

function jumpIn(value) {
  if (!value) return null;
  const [to, until] = value.split("-");
  return { to, until };
}
