// Which clicks are played in practice: their subdivision, and bars without any. The rules are those of the prepared
// click. Sums only; nothing here touches the page.
import { barIndexAt, beatsPerBar } from "kitpost/lib/bars";

export const SUBDIVISIONS = ["beat", "quarter", "eighth", "triplet", "sixteenth"];
// Bars of click and bars without, in turn from bar one on (house choices to step through).
export const BAR_PATTERNS = [
  [1, 0],
  [4, 4],
  [2, 2],
  [1, 1],
  [1, 3],
];
export const SLOWEST = 0.5;
const STEP = 0.05;
const PER_QUARTER = { quarter: 1, eighth: 2, triplet: 3, sixteenth: 4 };

/** Into how many parts the beat is clicked. A value that does not divide the beat adds nothing to it. A compound beat
 *  has three eighths, which are its triplet as well. */
export function partsOfBeat(meter, subdivision) {
  const [upper, lower] = meter.split("/").map(Number);
  if (!PER_QUARTER[subdivision]) return 1;
  const isCompound = beatsPerBar(meter) !== upper;
  if (isCompound && subdivision === "triplet") return 3;
  const parts = ((isCompound ? 12 : 4) / lower) * PER_QUARTER[subdivision];
  return Number.isInteger(parts) ? parts : 1;
}

export function soundsIn(bar, [barsOn, barsOff]) {
  return bar < 1 || (bar - 1) % (barsOn + barsOff) < barsOn;
}

/** [seconds, on a bar line, between beats] of every click, in order. */
export function clicksOf({ bars, beats_s: beats }, { subdivision, pattern }) {
  const clicks = [];
  for (const [at, [beatS, accent]] of beats.entries()) {
    const line = bars[barIndexAt(bars, beatS + 1e-4)];
    if (line && !soundsIn(line.bar, pattern)) continue;
    clicks.push([beatS, accent, 0]);
    // In a free passage only the bar that counts in what follows is clicked, in beats.
    const parts = line?.meter && !line.free ? partsOfBeat(line.meter, subdivision) : 1;
    const lengthS = beatLengthS(beats, at);
    for (let part = 1; part < parts; part++) clicks.push([beatS + (part * lengthS) / parts, 0, 1]);
  }
  return clicks;
}

/** To the next beat; the last before a free passage is as long as the one before it. */
function beatLengthS(beats, at) {
  const gaps = [at, at - 1].map((one) => (beats[one + 1]?.[0] ?? NaN) - (beats[one]?.[0] ?? NaN));
  if (!(gaps[1] > 0)) return gaps[0] > 0 ? gaps[0] : 0;
  return gaps[0] > 0 && gaps[0] < 1.9 * gaps[1] ? gaps[0] : gaps[1];
}

/** One step slower or faster, from 50 to 100 %. */
export function speedStep(speed, by) {
  return Math.round(Math.min(1, Math.max(SLOWEST, speed + by * STEP)) * 100) / 100;
}
