// Sums between seconds and bars. Nothing here touches the page.
//
// A grid is a list of bars in time order: [{bar, time_s}, ...]. Past its last bar the last bar's length goes on.
// A bar with `free: true` is counted and has no beats: nothing is laid on it.

// Nearer than this two places are one: the player stops on whole frames, up to half a frame beside a bar line, which is
// 62 µs at 8 kHz.
export const SAME_PLACE_S = 1e-4;

/** Bars of a tempo map {bar_one_s, segments: [{bar, time_s, bpm, meter}]} up to `durationS`. Each bar's time is worked
 *  out from its segment's start, never by adding rounded bars. */
export function barsOfMap(map, durationS) {
  const bars = [];
  const { segments } = map;
  for (const [index, segment] of segments.entries()) {
    const beats = beatsPerBar(segment.meter);
    const barS = (beats * 60) / segment.bpm;
    if (!(barS > 0)) return [];
    const next = segments[index + 1];
    for (
      let bar = segment.bar;
      next ? bar < next.bar : segment.time_s + (bar - segment.bar) * barS < durationS;
      bar++
    ) {
      const line = { bar, time_s: segment.time_s + (bar - segment.bar) * barS, beats };
      bars.push(segment.free ? { ...line, free: true } : line);
    }
  }
  return bars;
}

/** Beats felt in a bar, which are what a tempo counts: two in 6/8, four in 12/8, else the upper number. */
export function beatsPerBar(meter) {
  const [upper, lower] = meter.split("/").map(Number);
  return lower >= 8 && upper > 3 && upper % 3 === 0 ? upper / 3 : upper;
}

/** The last bar of a song with bars: that of its chart, where it has one, since files ring on behind the music. */
export function lastBarOf({ bars, last_bar: lastOfChart }) {
  return Math.min(lastOfChart ?? Infinity, bars.at(-1).bar);
}

/** Index of the last bar that has begun by `timeS`; -1 before the first. */
export function barIndexAt(bars, timeS) {
  let low = 0;
  let high = bars.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (bars[middle].time_s <= timeS + 1e-9) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

/** Length of the bar at `index` in seconds, or null when nothing tells it. */
export function barLengthS(bars, index) {
  if (bars.length < 2) return null;
  const first = Math.min(index, bars.length - 2);
  return bars[first + 1].time_s - bars[first].time_s;
}

/** {bar, beat} at `timeS`, or null before the first bar. The beat counts from 1; null where the bar's length is
 *  unknown, and in a free bar, whose place says `free: true`. */
export function placeAt(bars, timeS) {
  const index = barIndexAt(bars, timeS);
  if (index < 0) return null;
  const { bar, time_s, beats, free } = bars[index];
  const lengthS = barLengthS(bars, index);
  if (!beats || !lengthS) return { bar, beat: null };
  const passed = Math.floor(((timeS - time_s) / lengthS) * beats + 1e-6);
  const extraBars = index === bars.length - 1 ? Math.floor(passed / beats) : 0;
  if (free) return { bar: bar + extraBars, beat: null, free };
  return { bar: bar + extraBars, beat: Math.min(passed - extraBars * beats, beats - 1) + 1 };
}

export function placeText(bars, timeS) {
  const place = placeAt(bars, timeS);
  if (!place) return bars.length ? "before bar 1" : "";
  if (place.free) return `bar ${place.bar}, free`;
  return place.beat ? `bar ${place.bar}, beat ${place.beat}` : `bar ${place.bar}`;
}

/** 185.25 as "3:05", with one decimal "3:05.3"; what lies before the files' start has a minus. */
export function clock(timeS, decimals = 0) {
  const ticksPerS = 10 ** decimals;
  const ticks = Math.round(Math.abs(timeS) * ticksPerS);
  const minutes = Math.floor(ticks / (60 * ticksPerS));
  const seconds = (ticks - minutes * 60 * ticksPerS) / ticksPerS;
  const digits = decimals ? 3 + decimals : 2;
  return `${timeS < 0 && ticks ? "−" : ""}${minutes}:${seconds.toFixed(decimals).padStart(digits, "0")}`;
}

/** Every how many bars to write a number, so that numbers stand `minPx` apart: 1, 2, 4, 8, 16, ... */
export function numberEvery(barPx, minPx) {
  let every = 1;
  while (barPx * every < minPx && every < 4096) every *= 2;
  return every;
}

/** Every how many seconds to write a clock time. */
export function secondsEvery(pxPerS, minPx) {
  return (
    [
      0.0001, 0.0002, 0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300,
      600, 1800, 3600,
    ].find((step) => step * pxPerS >= minPx) ?? 7200
  );
}
