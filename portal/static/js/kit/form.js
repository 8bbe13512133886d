// Where the song is: bar, beat, section, what comes next and when. Sums only; nothing here touches the page.
import { barIndexAt, barLengthS, lastBarOf, placeAt } from "kitpost/lib/bars";

// So many bars before it begins, the next section is announced (house choice).
export const ANNOUNCED_BARS = 2;

/** The form as [{label, bar, bars, startS, endS}], from bar one to the end; a song without sections is one. */
export function formOf(song) {
  const { bars, sections, duration_s: durationS } = song;
  if (!bars.length) return [];
  const begins = sections.length ? sections : [{ label: "Song", bar: bars[0].bar, time_s: bars[0].time_s }];
  const lastBar = lastBarOf(song);
  return begins.map((section, at) => {
    const next = begins[at + 1];
    return {
      label: section.label,
      bar: section.bar,
      bars: Math.max(1, (next?.bar ?? lastBar + 1) - section.bar),
      startS: section.time_s,
      endS: next?.time_s ?? durationS,
    };
  });
}

/** Where `timeS` is: {bar, beat, beats, meter, bpm, section (its place in the form), next, barsToNext}. Null where
 *  there is no bar. */
export function whereAt({ bars }, form, timeS) {
  const at = barIndexAt(bars, timeS);
  const place = placeAt(bars, timeS);
  if (at < 0 || !place) return null;
  const line = bars[at];
  const section = form.findLastIndex((one) => one.startS <= timeS + 1e-6);
  const next = form[section + 1] ?? null;
  const lengthS = barLengthS(bars, at);
  return {
    ...place,
    beats: line.beats,
    meter: line.meter,
    bpm: lengthS && !line.free ? (60 * line.beats) / lengthS : null,
    section,
    next,
    barsToNext: next ? next.bar - place.bar : null,
  };
}

/** The bar that is played after `bar`: where a loop {startS, endS} ends with it, the loop's first. */
export function barAfter({ bars }, bar, loop) {
  const at = bars.findIndex((one) => one.bar === bar);
  if (at < 0 || !loop) return bar + 1;
  const endS = bars[at + 1]?.time_s ?? Infinity;
  const endsLoop = bars[at].time_s < loop.endS && endS > loop.endS - 1e-3;
  return endsLoop ? bars[Math.max(0, barIndexAt(bars, loop.startS + 1e-4))].bar : bar + 1;
}

/** What is said of the next section, in time: "C in 2 bars", "C in the next bar"; nothing before that. */
export function announcement({ next, barsToNext }) {
  if (!next || barsToNext > ANNOUNCED_BARS || barsToNext < 1) return "";
  return barsToNext === 1 ? `${next.label} after this bar` : `${next.label} in ${barsToNext} bars`;
}

/** Where playing from the top begins: the first bar, or as many beats before it as a pickup needs. */
export function topOf({ bars, lanes }) {
  if (!bars.length) return 0;
  const [first] = bars;
  const heard = lanes.filter((lane) => lane.role !== "click").map((lane) => lane.leading_silence_s);
  const soundS = Math.min(first.time_s, ...heard);
  const beatS = (barLengthS(bars, 0) ?? 2) / (first.beats || 1);
  const beats = Math.ceil((first.time_s - soundS) / beatS - 0.1);
  return Math.max(0, first.time_s - Math.max(0, beats) * beatS);
}
