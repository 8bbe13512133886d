// Draws the bar ruler: bars and beats of a tempo map, sections above, meters where they change.
import { numberEvery } from "kitpost/bars";

export const RULER_PX = 44;
const WIDE_ENOUGH_FOR_METER_PX = 20;
const WIDE_ENOUGH_FOR_BEATS_PX = 60;

/** `bars`: [{bar, time_s, beats, meter, free}]; lines go down to `bottom`. */
export function drawRuler(context, { bars, sections, view, width }, ink, x, bottom) {
  context.fillStyle = ink.ink;
  context.fillRect(0, RULER_PX - 2, width, 2);
  if (bars.length < 2) return;
  const meanPx = (x(bars.at(-1).time_s) - x(bars[0].time_s)) / (bars.length - 1);
  const every = numberEvery(meanPx, ink.figurePx * 3.4);
  context.font = `600 ${ink.figurePx}px ${ink.face}`;
  drawFree(context, bars, view, width, ink, x);
  for (const [at, line] of bars.entries()) {
    if (line.time_s > view.endS) break;
    const next = bars[at + 1];
    if (!next || next.time_s >= view.startS) drawBar(context, { line, next, before: bars[at - 1], meanPx, every }, ink, x, bottom);
  }
  context.fillStyle = ink.soft;
  for (const section of sections) if (x(section.time_s) > -40 && x(section.time_s) < width) context.fillText(section.label, x(section.time_s) + 3, 14);
}

function drawBar(context, { line, next, before, meanPx, every }, ink, x, bottom) {
  const left = x(line.time_s);
  const isNumbered = (line.bar - 1) % every === 0;
  if (meanPx > WIDE_ENOUGH_FOR_BEATS_PX && next && !line.free) {
    for (let beat = 1; beat < line.beats; beat++) tick(context, left + ((x(next.time_s) - left) * beat) / line.beats, RULER_PX - 8, bottom, ink.soft, ink.rule);
  }
  if (!isNumbered && meanPx < 7) return;
  tick(context, left, isNumbered ? 20 : RULER_PX - 12, bottom, ink.ink, ink.rule);
  context.fillStyle = ink.ink;
  const number = isNumbered ? String(line.bar) : "";
  if (number) context.fillText(number, left + 5, RULER_PX - 8);
  const changes = before && line.meter && before.meter !== line.meter;
  if (changes && meanPx > WIDE_ENOUGH_FOR_METER_PX) context.fillText(line.meter, left + 5 + (number ? context.measureText(number).width + 6 : 0), RULER_PX - 8);
}

/** A passage without a pulse: hatched, and said. */
function drawFree(context, bars, view, width, ink, x) {
  for (let at = 0; at < bars.length; at++) {
    if (!bars[at].free || bars[at - 1]?.free) continue;
    let end = at;
    while (bars[end]?.free) end++;
    const [left, right] = [Math.max(0, x(bars[at].time_s)), Math.min(width, bars[end] ? x(bars[end].time_s) : x(view.endS))];
    if (right <= left) continue;
    context.strokeStyle = ink.soft;
    context.lineWidth = 1;
    context.beginPath();
    for (let place = left; place < right; place += 6) {
      context.moveTo(place, RULER_PX - 2);
      context.lineTo(Math.min(right, place + 6), RULER_PX - 8);
    }
    context.stroke();
    context.fillStyle = ink.soft;
    if (right - left > 40) context.fillText("free", left + 4, RULER_PX - 24);
  }
}

function tick(context, left, top, bottom, strong, faint) {
  context.fillStyle = faint;
  context.fillRect(left, RULER_PX, 1, bottom - RULER_PX);
  context.fillStyle = strong;
  context.fillRect(left - 0.5, top, 1.5, RULER_PX - top);
}
