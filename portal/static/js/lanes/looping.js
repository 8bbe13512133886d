// Which bars of the song loop: by their numbers, or as one of its sections.
import { parseNumber } from "kitpost/lib/parse-number";
import { chooseSection, listSections, sectionBars } from "kitpost/lanes/steps";

export class Looping {
  constructor(lanes) {
    this.lanes = lanes;
    const section = lanes.part("section");
    listSections(section, lanes.song);
    section.addEventListener("change", () => this.takeBars(section.value ? section.value.split("-") : ["", ""]));
  }

  /** The section at the head loops; pressed again, nothing does. */
  toggleSection() {
    const { transport, song, headS } = this.lanes;
    const bars = transport.loop ? ["", ""] : sectionBars(song, headS);
    if (!bars) return this.lanes.say("There is no section here.");
    this.takeBars(bars);
  }

  takeBars(bars) {
    for (const [at, name] of ["loop-from", "loop-to"].entries()) this.lanes.part(name).value = bars[at];
    this.set();
  }

  /** From the first to the end of the last of the bars in the fields; empty fields end it. */
  set() {
    const { lanes } = this;
    const [first, last] = ["loop-from", "loop-to"].map((name) => parseNumber(lanes.part(name).value));
    chooseSection(lanes.part("section"), first, last);
    const loop = spanOf(lanes.song, first, last);
    lanes.transport.loop = loop;
    lanes.say(loop ? `Looping bars ${first} to ${last}.` : "Loop off.");
    if (loop) lanes.seek(loop.startS);
    lanes.ask();
  }
}

/** From the first to the end of the last of these bars, in seconds; null where there are none. */
export function spanOf({ bars, duration_s: durationS }, first, last) {
  const from = bars.findIndex((line) => line.bar === first);
  const to = bars.findIndex((line) => line.bar === last);
  if (from < 0 || to < from) return null;
  return { startS: bars[from].time_s, endS: bars[to + 1]?.time_s ?? durationS };
}
