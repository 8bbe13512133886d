// Steps along a song: to a bar line, a section, a place to look at.
import { lastBarOf } from "kitpost/lib/bars";

const SAME_S = 1e-3;
// What a key on the picture presses.
export const KEYS = {
  ArrowLeft: "earlier",
  ArrowRight: "later",
  "+": "closer",
  "=": "closer",
  "-": "wider",
  Home: "whole",
  " ": "play",
  s: "stop",
};

/** The next (`by` 1) or the last (`by` -1) of these moments from `timeS` on; null where there is none. */
export function stepIn(momentsS, timeS, by) {
  const sorted = [...momentsS].sort((one, other) => one - other);
  const found =
    by > 0 ? sorted.find((moment) => moment > timeS + SAME_S) : sorted.findLast((moment) => moment < timeS - SAME_S);
  return found ?? null;
}

export function placesOf({ lanes, marks }) {
  return [...marks, ...lanes.flatMap((lane) => lane.marks)].map((mark) => mark.time_s);
}

/** Where a key leads from `timeS`, or null: with Shift by bars, Page keys by sections, F by findings (with Shift
 *  back). */
export function stepFor({ key, shiftKey }, song, timeS) {
  const bars = song.bars.map((bar) => bar.time_s);
  const sections = song.sections.map((section) => section.time_s);
  const byPlace = () => stepIn(placesOf(song), timeS, shiftKey ? -1 : 1);
  const steps = {
    ArrowLeft: () => (shiftKey ? stepIn([0, ...bars], timeS, -1) : null),
    ArrowRight: () => (shiftKey ? stepIn(bars, timeS, 1) : null),
    PageUp: () => stepIn([0, ...sections], timeS, -1),
    PageDown: () => stepIn(sections, timeS, 1),
    f: byPlace,
    F: byPlace,
  };
  return steps[key]?.() ?? null;
}

/** First and last bar of the section that holds `timeS`: [from, to]; null where no section does. */
export function sectionBars(song, timeS) {
  const { sections, bars } = song;
  const at = sections.findLastIndex((section) => section.time_s <= timeS + SAME_S);
  if (at < 0 || !bars.length) return null;
  return [sections[at].bar, sections[at + 1] ? sections[at + 1].bar - 1 : lastBarOf(song)];
}

/** The sections to choose from in a list, with their bars; a song without any has no list. */
export function listSections(list, song) {
  for (const section of song.sections) {
    const [from, to] = sectionBars(song, section.time_s) ?? [];
    if (to >= from) list.append(new Option(`${section.label}, bars ${from} to ${to}`, `${from}-${to}`));
  }
  list.closest("label").hidden = list.options.length < 2;
}

/** The list says which section these bars are; none, where they are no section's. */
export function chooseSection(list, first, last) {
  list.value = `${first}-${last}`;
  if (list.selectedIndex < 0) list.value = "";
}
