// Where the head is, and the clock under the lanes: the closer the view, the finer.
import { clock, placeText, SAME_PLACE_S, secondsEvery } from "kitpost/lib/bars";

const MS_WITHIN_S = 1;
const FRAMES_WITHIN_S = 0.1;
const APART_PX = 16;

/** Every how many seconds the clock line has a time, and with how many decimals: no two run into each other. */
export function clockSteps({ startS, endS }, width, widthOf) {
  const pxPerS = width / (endS - startS);
  const stepFor = (decimals) => secondsEvery(pxPerS, widthOf(clock(endS, decimals)) + APART_PX);
  if (endS - startS > MS_WITHIN_S) {
    const step = stepFor(1);
    return { step, decimals: step < 0.1 ? 2 : step < 1 ? 1 : 0 };
  }
  const step = stepFor(4);
  return { step, decimals: step < 0.001 ? 4 : 3 };
}

/** "bar 3, beat 2 · 0:05.31"; within a second of view to the millisecond, within a tenth with the frame at each rate
 *  that a lane has. */
export function whereText({ bars, lanes }, headS, lengthS) {
  const parts = [placeText(bars, headS + SAME_PLACE_S) || "–", clock(headS, lengthS <= MS_WITHIN_S ? 3 : 2)];
  if (lengthS > FRAMES_WITHIN_S) return parts.join(" · ");
  const ratesHz = [...new Set(lanes.map((lane) => lane.sample_rate_hz).filter(Boolean))];
  const frames = ratesHz.map(
    (rateHz) => `frame ${Math.round(headS * rateHz)}${ratesHz.length > 1 ? ` at ${rateHz / 1000} kHz` : ""}`,
  );
  return [...parts, ...frames].join(" · ");
}
