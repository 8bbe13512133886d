// Draws the bar ruler: bars and beats of a tempo map, sections above, meters where they change. What is written never
// runs into what else is: where two want the same room, the one worth less is left out.
import { numberEvery } from "kitpost/lib/bars";

export const RULER_PX = 44;
const WIDE_ENOUGH_FOR_BEATS_PX = 60;
const WIDE_ENOUGH_FOR_BARS_PX = 7;
// Above: sections and free passages. Below: meters and bar numbers. Each begins this far right of its bar line.
const ABOVE = { row: 0, baselinePx: 14, insetPx: 3 };
const BELOW = { row: 1, baselinePx: RULER_PX - 8, insetPx: 5 };
// So far apart a number's line has room before it as well.
const APART_PX = 7;
// Lines that carry no number end below what is written.
const SHORT_TICK_PX = 6;

/** `bars`: [{bar, time_s, beats, meter, free}]; lines go down to `bottom`. */
export function drawRuler(context, { bars, sections, view, width }, palette, x, bottom) {
  context.fillStyle = palette.ink;
  context.fillRect(0, RULER_PX - 2, width, 2);
  if (bars.length < 2) return;
  context.font = `600 ${palette.figurePx}px ${palette.face}`;
  const meanPx = meanBarPx(bars, x);
  const labels = labelsOf(
    { bars, sections, width, every: numberEvery(meanPx, palette.figurePx * 3.4) },
    x,
    (text) => context.measureText(text).width,
  );
  const lined = new Set(labels.filter((label) => label.row === BELOW.row).map((label) => label.bar));
  hatchFree(context, bars, width, palette, x);
  for (const { line, next } of barsInView(bars, view))
    drawLines(context, { line, next, meanPx, isLabelled: lined.has(line.bar) }, palette, x, bottom);
  for (const label of labels) writeLabel(context, label, palette);
}

function barsInView(bars, { startS, endS }) {
  const pairs = bars.map((line, at) => ({ line, next: bars[at + 1] }));
  return pairs.filter(({ line, next }) => line.time_s <= endS && (!next || next.time_s >= startS));
}

function writeLabel(context, { text, left, row, kind }, palette) {
  context.fillStyle = kind === "section" || kind === "free" ? palette.soft : palette.ink;
  context.fillText(text, left, (row === ABOVE.row ? ABOVE : BELOW).baselinePx);
}

function meanBarPx(bars, x) {
  return (x(bars.at(-1).time_s) - x(bars[0].time_s)) / (bars.length - 1);
}

/** What is written and where: [{kind, text, row, left, right, bar}]. `every` so many bars a number is wanted;
 *  `widthOf` a text is its width. By worth: a change of meter, a section's letter, a bar's number, that a passage is
 *  free. */
export function labelsOf({ bars, sections, width, every }, x, widthOf) {
  const placed = [];
  const place = (label) => {
    const isClear = placed.every(
      (other) =>
        other.row !== label.row || label.left >= other.right + APART_PX || label.right + APART_PX <= other.left,
    );
    if (isClear) placed.push(label);
    return isClear;
  };
  const labelAt = (kind, text, { row, insetPx }, timeS, bar) => ({
    kind,
    text,
    row,
    bar,
    left: x(timeS) + insetPx,
    right: x(timeS) + insetPx + widthOf(text),
  });
  for (const line of changesOfMeter(bars)) place(labelAt("meter", line.meter, BELOW, line.time_s, line.bar));
  for (const section of sections) place(labelAt("section", section.label, ABOVE, section.time_s, section.bar));
  for (const line of bars.filter(({ bar, time_s }) => (bar - 1) % every === 0 && Math.abs(x(time_s)) <= width)) {
    const number = labelAt("number", String(line.bar), BELOW, line.time_s, line.bar);
    if (!place(number)) placeBefore(placed, number);
  }
  for (const { startS, endS } of freePassages(bars))
    placeFree(place, placed, labelAt("free", "free", ABOVE, startS), Math.min(width, x(endS)));
  return placed.filter((label) => label.right > 0 && label.right <= width);
}

/** The number of a bar whose meter stands there: the meter makes room for it, if what follows leaves some. */
function placeBefore(placed, number) {
  const meter = placed.find((label) => label.kind === "meter" && label.bar === number.bar);
  if (!meter) return;
  const byPx = number.right - number.left + APART_PX;
  const right = meter.right + byPx + APART_PX;
  const others = placed.filter((label) => label !== meter && label.row === meter.row);
  if (others.some((label) => label.left < right && label.right + APART_PX > number.left)) return;
  meter.left += byPx;
  meter.right += byPx;
  placed.push(number);
}

/** Where the passage comes into view, else after what is written there; not past its end. */
function placeFree(place, placed, free, endPx) {
  const move = (left) => Object.assign(free, { right: left + free.right - free.left, left });
  move(Math.max(free.left, ABOVE.insetPx));
  const over = placed.filter(
    (label) => label.row === free.row && label.left < free.right + APART_PX && label.right + APART_PX > free.left,
  );
  if (over.length) move(Math.max(...over.map((label) => label.right)) + APART_PX);
  if (free.right <= endPx) place(free);
}

function changesOfMeter(bars) {
  return bars.filter((line, at) => at > 0 && line.meter && line.meter !== bars[at - 1].meter);
}

/** From the first free bar to the first that is not; the last passage may have no end. */
function freePassages(bars) {
  const firsts = bars.filter((line, at) => line.free && !bars[at - 1]?.free);
  return firsts.map(({ time_s: startS }) => ({
    startS,
    endS: bars.find((line) => line.time_s > startS && !line.free)?.time_s ?? Infinity,
  }));
}

function drawLines(context, { line, next, meanPx, isLabelled }, palette, x, bottom) {
  const left = x(line.time_s);
  if (meanPx > WIDE_ENOUGH_FOR_BEATS_PX && next && !line.free) {
    for (let beat = 1; beat < line.beats; beat++)
      tick(
        context,
        left + ((x(next.time_s) - left) * beat) / line.beats,
        RULER_PX - SHORT_TICK_PX,
        bottom,
        palette.soft,
        palette.rule,
      );
  }
  if (isLabelled || meanPx >= WIDE_ENOUGH_FOR_BARS_PX)
    tick(context, left, isLabelled ? 20 : RULER_PX - SHORT_TICK_PX, bottom, palette.ink, palette.rule);
}

/** A passage without a pulse. */
function hatchFree(context, bars, width, palette, x) {
  context.strokeStyle = palette.soft;
  context.lineWidth = 1;
  context.beginPath();
  for (const { startS, endS } of freePassages(bars)) {
    const right = Math.min(width, x(endS));
    for (let place = Math.max(0, x(startS)); place < right; place += 6) {
      context.moveTo(place, RULER_PX - 2);
      context.lineTo(Math.min(right, place + 6), RULER_PX - SHORT_TICK_PX);
    }
  }
  context.stroke();
}

function tick(context, left, top, bottom, strong, faint) {
  context.fillStyle = faint;
  context.fillRect(left, RULER_PX, 1, bottom - RULER_PX);
  context.fillStyle = strong;
  context.fillRect(left - 0.5, top, 1.5, RULER_PX - top);
}
