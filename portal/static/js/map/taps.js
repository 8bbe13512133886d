// From taps on downbeats to the bar lines of a map. Sums only; nothing here touches the page.
//
// People tap 10 to 25 ms around the beat, mostly early, miss one and hit one twice. So a tap counts for the bar line it
// is near; the run of taps is smoothed; and where attacks of the music agree, the line is pulled onto them.
import { barIndexAt, barLengthS } from "kitpost/lib/bars";
import { inOrder, round } from "kitpost/map/edits";

// A tap farther than this share of a bar from its line is none of its taps.
const NEAR_BARS = 0.25;
// How much of a tap's distance the next one is expected to have: drift is followed, a slip is not.
const FOLLOWS = 0.5;
const NEIGHBOURS = 13;
const NEIGHBOURS_HEARD = 7;
// As far as taps lie before or after the music as a whole, and as far as one smoothed line lies from its attacks.
const LEAN_S = 0.05;
const LEAN_REACH_S = 0.1;
const NEAR_S = 0.03;
const TOGETHER_S = 0.008;
const FEWEST_FOR_LEAN = 4;
const LAST_LINES = 8;
// Two lines 10 ms off each, eight bars apart, are a tempo off by a thousandth; over fewer it is a guess.
const FEWEST_FOR_TEMPO = 8;

/** {lines: [{bar, mapS, tapS}] in order, doubled, between}: taps given to the bar lines they are near. */
export function linesOf(bars, tapsS) {
  const lines = new Map();
  const left = { doubled: 0, between: 0 };
  let offsetS = 0;
  for (const tapS of [...tapsS].sort((a, b) => a - b)) {
    const at = nearestAt(bars, tapS - offsetS);
    const missS = at < 0 ? Infinity : tapS - offsetS - bars[at].time_s;
    if (!(Math.abs(missS) <= NEAR_BARS * (barLengthS(bars, at) ?? 0))) {
      left.between++;
      continue;
    }
    const known = lines.get(bars[at].bar);
    if (known) left.doubled++;
    if (known && Math.abs(known.missS) <= Math.abs(missS)) continue;
    lines.set(bars[at].bar, { bar: bars[at].bar, mapS: bars[at].time_s, tapS, missS });
    offsetS += FOLLOWS * missS;
  }
  return { lines: [...lines.values()].sort((a, b) => a.bar - b.bar), ...left };
}

function nearestAt(bars, timeS) {
  const at = barIndexAt(bars, timeS);
  if (at < 0) return bars.length ? 0 : -1;
  return bars[at + 1] && bars[at + 1].time_s - timeS < timeS - bars[at].time_s ? at + 1 : at;
}

/** Each line's `timeS` from its neighbours' taps, slips weighing little. */
export function smoothed(lines, neighbours = NEIGHBOURS) {
  const offsets = lines.map((line) => line.tapS - line.mapS);
  const firm = offsets.map(() => 1);
  const first = lines.map((line) => fitAt(lines, offsets, firm, line.bar, neighbours));
  const misses = offsets.map((offset, at) => Math.abs(offset - first[at]));
  const widest = 6 * Math.max(median(misses), 1e-6);
  const weights = misses.map((miss) => Math.max(0, 1 - (miss / widest) ** 2) ** 2);
  return lines.map((line) => ({ ...line, timeS: line.mapS + fitAt(lines, offsets, weights, line.bar, neighbours) }));
}

/** A parabola through the nearest taps, at `bar`: music that breathes bends within a few bars. By orthogonal
 *  polynomials. */
function fitAt(lines, offsets, weights, bar, neighbours) {
  const xs = lines.map((line) => line.bar - bar);
  const reach = 1.001 * [...xs].map(Math.abs).sort((a, b) => a - b)[Math.min(neighbours, xs.length) - 1] || 1;
  const shares = xs.map((x, at) => (Math.abs(x) < reach ? weights[at] * (1 - Math.abs(x / reach) ** 3) ** 3 : 0));
  const degree = Math.min(2, shares.filter((share) => share > 0).length - 2);
  if (degree < 0) return offsets[xs.indexOf(0)];
  let [before, now, here, hereBefore, normBefore, value] = [xs.map(() => 0), xs.map(() => 1), 1, 0, 1, 0];
  for (let power = 0; power <= degree; power++) {
    const norm = sum(shares, (at) => now[at] ** 2);
    if (!(norm > 1e-9)) break;
    value += (sum(shares, (at) => offsets[at] * now[at]) / norm) * here;
    const middle = sum(shares, (at) => xs[at] * now[at] ** 2) / norm;
    const back = power ? norm / normBefore : 0;
    const next = xs.map((x, at) => (x - middle) * now[at] - back * before[at]);
    [before, now, here, hereBefore, normBefore] = [now, next, -middle * here - back * hereBefore, here, norm];
  }
  return value;
}

/** Lines pulled onto the attacks ([timeS, lateMs, share]) that they are near; `isPulled` says which. */
export function ontoPlaying(lines, attacks) {
  const leanS = lines.length < FEWEST_FOR_LEAN ? 0 : leanOf(lines, attacks);
  return lines.map((line) => {
    const expectedS = line.timeS + leanS;
    const near = nearTo(attacks, expectedS, NEAR_S);
    if (!near.length) return { ...line, timeS: expectedS, isPulled: false };
    const worth = ([timeS, , share]) => share * Math.exp(-(((timeS - expectedS) / (NEAR_S / 2)) ** 2) / 2);
    const [bestS] = near.reduce((best, attack) => (worth(attack) > worth(best) ? attack : best));
    const together = near.filter(([timeS]) => Math.abs(timeS - bestS) <= TOGETHER_S);
    const weight = together.reduce((total, [, , share]) => total + share, 0);
    const timeS = weight > 0 ? together.reduce((total, [atS, , share]) => total + atS * share, 0) / weight : bestS;
    return { ...line, timeS, isPulled: true };
  });
}

/** By how much the music comes after the taps as a whole: where most of the attacks near the lines lie. */
function leanOf(lines, attacks) {
  const gaps = lines.flatMap((line) =>
    nearTo(attacks, line.timeS, LEAN_REACH_S).map(([timeS, , share]) => ({ gapS: timeS - line.timeS, share })),
  );
  const worth = ({ gapS }) =>
    gaps.reduce((total, one) => total + one.share * Math.exp(-(((one.gapS - gapS) / TOGETHER_S) ** 2) / 2), 0) *
    Math.exp(-((gapS / LEAN_S) ** 2) / 2);
  let [best, most] = [0, 0];
  for (const gap of gaps) if (worth(gap) > most) [best, most] = [gap.gapS, worth(gap)];
  const heard = lines.filter((line) => nearTo(attacks, line.timeS + best, NEAR_S).length);
  return heard.length * 2 >= lines.length ? best : 0;
}

function nearTo(attacks, timeS, reachS) {
  return attacks.filter(([atS]) => Math.abs(atS - timeS) <= reachS);
}

/** The map through these lines [{bar, timeS}]; anchors between them keep their place among them. */
export function throughLines(state, lines, bars) {
  if (!lines.length) return state;
  const [first, last] = [lines[0].bar, lines.at(-1).bar];
  const timeOf = new Map(lines.map((line) => [line.bar, line.timeS]));
  const kept = state.anchors.map((anchor) => {
    const isInside = anchor.bar > first && anchor.bar < last;
    return {
      ...anchor,
      time_s: round(timeOf.get(anchor.bar) ?? anchor.time_s + (isInside ? offsetAt(lines, anchor.bar) : 0)),
    };
  });
  const known = new Set(kept.map((anchor) => anchor.bar));
  const holding = (bar) => state.anchors.filter((anchor) => anchor.bar < bar).at(-1) ?? state.anchors[0];
  const fresh = lines
    .filter((line) => !known.has(line.bar))
    .map((line) => ({ ...holding(line.bar), bar: line.bar, time_s: round(line.timeS), ramps: false }));
  const anchors = [...kept, ...fresh].sort((a, b) => a.bar - b.bar);
  if (!inOrder(anchors)) return state;
  const bpm = anchors.at(-1).bar === last ? tempoAtEnd(lines, bars) : null;
  return { anchors, last_bpm: bpm ? String(bpm) : state.last_bpm };
}

function offsetAt(lines, bar) {
  const after = lines.findIndex((line) => line.bar >= bar);
  const [one, two] = [lines[after - 1], lines[after]];
  const share = (bar - one.bar) / (two.bar - one.bar);
  return (1 - share) * (one.timeS - one.mapS) + share * (two.timeS - two.mapS);
}

/** Beats a minute over the last lines, by least squares; null where so few tell it worse than the map does. */
function tempoAtEnd(lines, bars) {
  const last = lines.slice(-LAST_LINES);
  if (last.length < FEWEST_FOR_TEMPO) return null;
  const beats = last.map((line) => bars.reduce((count, bar) => count + (bar.bar < line.bar ? bar.beats : 0), 0));
  const [middleX, middleY] = [
    beats.reduce((a, b) => a + b) / last.length,
    last.reduce((total, line) => total + line.timeS, 0) / last.length,
  ];
  const across = beats.reduce((total, beat) => total + (beat - middleX) ** 2, 0);
  const beatS = last.reduce((total, line, at) => total + (beats[at] - middleX) * (line.timeS - middleY), 0) / across;
  return beatS > 0 ? Math.round((60 / beatS) * 1e4) / 1e4 : null;
}

/** A whole run of taps made into a map: {state, said}, in one step. */
export function withTaps(state, tapsS, { bars, dots }) {
  const { lines, doubled, between } = linesOf(bars, tapsS);
  const first = ontoPlaying(smoothed(lines), dots);
  // What most lines were pulled onto tells better than taps where the others lie: the first and last ones above all.
  const isHeard = first.filter((line) => line.isPulled).length * 2 > first.length;
  const pulled = isHeard
    ? ontoPlaying(
        smoothed(
          first.map((line) => ({ ...line, tapS: line.timeS })),
          NEIGHBOURS_HEARD,
        ),
        dots,
      )
    : first;
  const isPulled = pulled.filter((line) => line.isPulled).length;
  const left = [doubled && `${doubled} tapped twice`, between && `${between} between bar lines`]
    .filter(Boolean)
    .join(", ");
  const rest = pulled.length - isPulled;
  const parts = [`${count(tapsS.length, "tap")}: ${count(pulled.length, "bar line")} set.`];
  if (left) parts.push(`Left out: ${left}.`);
  if (isPulled) parts.push(`${isPulled} snapped to the playing${rest ? `, ${rest} smoothed` : ""}.`);
  else if (rest) parts.push("Smoothed; no attacks match.");
  return { state: throughLines(state, pulled, bars), said: parts.join(" ") };
}

function count(number, word) {
  return `${number} ${word}${number === 1 ? "" : "s"}`;
}

function sum(shares, value) {
  return shares.reduce((total, share, at) => (share ? total + share * value(at) : total), 0);
}

function median(values) {
  return [...values].sort((a, b) => a - b)[values.length >> 1] ?? 0;
}
