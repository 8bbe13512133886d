// The bar ruler over what is listened to: the bar that plays is lit, and the notes stand under their bars.
import { clearedContext } from "kitpost/lib/canvas";
import { barIndexAt } from "kitpost/lib/bars";
import { drawRuler, RULER_PX } from "kitpost/lib/ruler";

const NOTES_PX = 22;
export const STRIP_PX = RULER_PX + NOTES_PX;
// So much of the song is shown at once, at most: bars stay wide enough for a finger (house choice).
const PX_PER_S = 12;

/** The stretch in view: the page of the song that `headS` is on. */
export function viewAt(headS, durationS, widthPx) {
  const lengthS = Math.min(durationS, Math.max(8, widthPx / PX_PER_S));
  const page = Math.floor(Math.max(0, headS) / lengthS + 1e-9);
  const startS = Math.min(page * lengthS, Math.max(0, durationS - lengthS));
  return { startS, endS: startS + lengthS };
}

/** [startS, endS] of the bars from `first` to `last`; null where the song has none of them. */
export function timeOfBars(bars, first, last, durationS) {
  const inside = bars.filter(({ bar }) => bar >= first && bar <= last);
  if (!inside.length) return null;
  const next = bars.find(({ bar }) => bar > last);
  return [inside[0].time_s, next ? next.time_s : durationS];
}

/** `scene`: {facts, notes, headS, isPlaying, width}. */
export function drawStrip(canvas, { facts, notes, headS, width }, palette) {
  const { bars, sections, duration_s: durationS } = facts;
  const view = viewAt(headS, durationS, width);
  const x = (timeS) => ((timeS - view.startS) / (view.endS - view.startS)) * width;
  const context = clearedContext(canvas, width, STRIP_PX);
  context.fillStyle = palette.sheet;
  context.fillRect(0, 0, width, STRIP_PX);
  lightBar(context, bars, headS, durationS, palette, x);
  drawRuler(context, { bars, sections, view, width }, palette, x, STRIP_PX);
  for (const note of notes) drawNote(context, note, bars, durationS, palette, x);
  context.fillStyle = palette.accent;
  context.fillRect(x(headS) - 1, 0, 2, STRIP_PX);
  return view;
}

function lightBar(context, bars, headS, durationS, palette, x) {
  const at = barIndexAt(bars, headS);
  if (at < 0) return;
  const endS = bars[at + 1]?.time_s ?? durationS;
  context.fillStyle = palette.wash;
  context.fillRect(x(bars[at].time_s), 0, x(endS) - x(bars[at].time_s), STRIP_PX);
}

/** A full block is open, an outlined one is done. */
function drawNote(context, { first, last, isDone }, bars, durationS, palette, x) {
  const times = timeOfBars(bars, first, last, durationS);
  if (!times) return;
  const [left, right] = times.map(x);
  const box = [left + 1, RULER_PX + 6, Math.max(3, right - left - 2), NOTES_PX - 12];
  context.fillStyle = context.strokeStyle = palette.ink;
  if (isDone) context.strokeRect(...box);
  else context.fillRect(...box);
}
