// A tempo map as anchors, and every edit of it as a plain function: state in, new state out. Nothing here touches the
// page.
//
// State: {anchors: [{bar, time_s, meter, ramps, free}], last_bpm}; anchors in order of bars. An edit that cannot be
// made gives the same state back.
import { barLengthS, beatsPerBar } from "kitpost/lib/bars";

/** One anchor, or with `all` the whole map, `byS` later. */
export function moved(state, index, byS, all = false) {
  const anchors = state.anchors.map((anchor, at) =>
    all || at === index ? { ...anchor, time_s: round(anchor.time_s + byS) } : anchor,
  );
  return inOrder(anchors) ? { ...state, anchors } : state;
}

/** The anchor at `timeS`: bar and time as typed. */
export function placed(state, index, timeS) {
  return Number.isFinite(timeS) ? moved(state, index, timeS - state.anchors[index].time_s) : state;
}

/** Bar `bar` begins at `timeS`: its anchor moves there, or is set there. */
export function barAt(state, bar, timeS) {
  const at = state.anchors.findIndex((anchor) => anchor.bar === bar);
  return at < 0 ? added(state, bar, timeS) : placed(state, at, timeS);
}

/** A new anchor on a bar line, in the meter that holds there, free where the passage is. */
export function added(state, bar, timeS) {
  if (!Number.isInteger(bar) || !Number.isFinite(timeS) || state.anchors.some((anchor) => anchor.bar === bar))
    return state;
  const before = state.anchors.filter((anchor) => anchor.bar < bar).at(-1) ?? state.anchors[0];
  const anchors = [...state.anchors, { ...before, bar, time_s: round(timeS), ramps: false }].sort(
    (a, b) => a.bar - b.bar,
  );
  return inOrder(anchors) ? { ...state, anchors } : state;
}

export function removed(state, index) {
  if (state.anchors.length < 2) return state;
  return {
    anchors: state.anchors.filter((_, at) => at !== index),
    last_bpm: index === state.anchors.length - 1 ? bpmFrom(state, index - 1) : state.last_bpm,
  };
}

/** The tempo that runs from an anchor: to the next one, or at the end. */
function bpmFrom(state, index) {
  const [one, two] = state.anchors.slice(index, index + 2);
  if (!two) return state.last_bpm;
  const beats = (two.bar - one.bar) * beatsPerBar(one.meter);
  return String(Math.round((1e6 * 60 * beats) / (two.time_s - one.time_s)) / 1e6);
}

export function inMeter(state, index, meter) {
  if (!/^\d{1,2}\/(1|2|4|8|16|32)$/.test(meter)) return state;
  return { ...state, anchors: state.anchors.map((anchor, at) => (at === index ? { ...anchor, meter } : anchor)) };
}

export function ramping(state, index, ramps) {
  return { ...state, anchors: state.anchors.map((anchor, at) => (at === index ? { ...anchor, ramps } : anchor)) };
}

/** From the anchor on, up to the next, the music is free of the grid, or holds to it again. */
export function freeing(state, index, free) {
  return {
    ...state,
    anchors: state.anchors.map((anchor, at) =>
      at === index ? { ...anchor, free, ramps: anchor.ramps && !free } : anchor,
    ),
  };
}

/** Bars `first` to `last` are free of the grid; what comes after them stays as it was. `bars`: the lines of the map. */
export function freed(state, first, last, bars) {
  const [from, after] = [lineOf(bars, first), lineOf(bars, last + 1)];
  if (!from || last < first) return state;
  const begun = state.anchors.some((anchor) => anchor.bar === first) ? state : added(state, first, from.time_s);
  const isEnded = !after || begun.anchors.some((anchor) => anchor.bar === last + 1);
  const whole = isEnded ? begun : added(begun, last + 1, after.time_s);
  const anchors = whole.anchors.map((anchor) =>
    anchor.bar >= first && anchor.bar <= last ? { ...anchor, free: true, ramps: false } : anchor,
  );
  return { ...state, anchors };
}

/** The line {bar, time_s, beats} of a bar; bars before the first one run on at its length. Null where there is none. */
export function lineOf(bars, bar) {
  if (!Number.isInteger(bar)) return null;
  const lengthS = barLengthS(bars, 0);
  if (lengthS && bar < bars[0].bar) return { ...bars[0], bar, time_s: bars[0].time_s - (bars[0].bar - bar) * lengthS };
  return bars.find((line) => line.bar === bar) ?? null;
}

export function nearestLine(bars, timeS) {
  return bars.reduce(
    (best, line) => (best && Math.abs(best.time_s - timeS) <= Math.abs(line.time_s - timeS) ? best : line),
    null,
  );
}

/** Bar `bar` alone in another meter, at the beat that runs there; all after it moves with it and stays as it was. */
export function withOddBar(state, bar, meter, timeS, beatS) {
  const before = state.anchors.filter((anchor) => anchor.bar <= bar).at(-1);
  if (!before || !Number.isFinite(timeS) || !(beatS > 0)) return state;
  const own = beatsPerBar(meter) * beatS;
  const shift = own - beatsPerBar(before.meter) * beatS;
  const kept = state.anchors.filter((anchor) => anchor.bar < bar);
  const next = state.anchors.find((anchor) => anchor.bar === bar + 1);
  const later = state.anchors
    .filter((anchor) => anchor.bar > bar + 1)
    .map((anchor) => ({ ...anchor, time_s: round(anchor.time_s + shift) }));
  const anchors = [
    ...kept,
    { ...before, bar, time_s: round(timeS), meter, ramps: false },
    { ...(next ?? before), bar: bar + 1, time_s: round(timeS + own), ramps: next?.ramps ?? false },
    ...later,
  ];
  return inOrder(anchors) ? { ...state, anchors } : state;
}

/** Twice the tempo: every bar becomes two. */
export function doubled(state) {
  const anchors = state.anchors.map((anchor) => ({ ...anchor, bar: 2 * (anchor.bar - 1) + 1 }));
  return { anchors, last_bpm: String(times(state.last_bpm, 2)) };
}

/** Half the tempo: two bars become one; anchors in the middle of one go. */
export function halved(state) {
  const stays = (anchor) => (anchor.bar - 1) % 2 === 0;
  const anchors = state.anchors.filter(stays).map((anchor) => ({ ...anchor, bar: (anchor.bar - 1) / 2 + 1 }));
  return anchors.length
    ? { anchors, last_bpm: String(times(bpmFrom(state, state.anchors.findLastIndex(stays)), 0.5)) }
    : state;
}

/** Beat one is `beats` later: bar lines move by that much of each stretch's own beat. */
export function turned(state, beats, stretches) {
  const anchors = state.anchors.map((anchor, at) => ({
    ...anchor,
    time_s: round(anchor.time_s + beats * stretches[at].beat_s),
  }));
  return inOrder(anchors) ? { ...state, anchors } : state;
}

export function inTempo(state, bpm) {
  return bpm > 0 && bpm <= 1000 ? { ...state, last_bpm: String(bpm) } : state;
}

/** The anchors of the map that is kept: as on the server an even change has one on each of its bars. */
export function written({ anchors }) {
  let beatS = null;
  return anchors.flatMap((one, at) => {
    const two = anchors[at + 1];
    if (!two) return [one];
    const [bars, beats, firstS] = [two.bar - one.bar, beatsPerBar(one.meter), beatS];
    const beatsS = (two.time_s - one.time_s) / beats;
    if (one.free || !one.ramps || !firstS) {
      beatS = one.free ? null : beatsS / bars;
      return [one];
    }
    const step = ((beatsS - bars * firstS) * 2) / bars ** 2;
    beatS = firstS + step * (bars - 0.5);
    return Array.from({ length: bars }, (_, bar) => ({
      ...one,
      bar: one.bar + bar,
      time_s: one.time_s + beats * (firstS * bar + (step * bar ** 2) / 2),
    }));
  });
}

export function inOrder(anchors) {
  return anchors.every(
    (anchor, at) => !at || (anchor.bar > anchors[at - 1].bar && anchor.time_s > anchors[at - 1].time_s),
  );
}

/** The tempo after the last anchor as a number: it may be written as a fraction. */
export function bpmOf(state) {
  const [upper, lower] = String(state.last_bpm).split("/").map(Number);
  return upper / (lower ?? 1);
}

// A tempo may be written as a fraction, and stays one.
function times(bpm, factor) {
  const [upper, lower] = String(bpm).split("/");
  if (lower === undefined) return Number(upper) * factor;
  return factor >= 1 ? `${BigInt(upper) * BigInt(factor)}/${lower}` : `${upper}/${BigInt(lower) * BigInt(1 / factor)}`;
}

// To the nearest hundredth of a microsecond: less than a thousandth of a sample.
export function round(timeS) {
  return Math.round(timeS * 1e8) / 1e8;
}
