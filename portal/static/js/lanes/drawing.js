// Draws the lanes of a song under one bar ruler. Everything comes in as arguments; colours come from the page's style.
import { clock } from "kitpost/lib/bars";
import { columnsBetween } from "kitpost/lanes/sound";
import { drawOnsets } from "kitpost/lanes/residual";
import { drawRuler, RULER_PX } from "kitpost/lib/ruler";
import { clockSteps } from "kitpost/lanes/where";

// Room for a name, two buttons and a level that a finger can hold (WCAG 2.2, 2.5.8: 24 px).
export const LANE_PX = 52;
export const CLOCK_PX = 22;
const CLOSE_S = 12;
const buffer = new Int8Array(2 * 8192);

export function heightOf(lanes) {
  return RULER_PX + lanes * LANE_PX + CLOCK_PX;
}

/** Whether a view is close enough to want more than the pyramid holds. */
export function wantsCloseUp(view) {
  return view.endS - view.startS <= CLOSE_S;
}

/** `scene`: {song, sounds, gains, view, headS, loop, width}; sizes in CSS pixels. */
export function drawLanes(context, scene, palette) {
  const { song, sounds, view, width } = scene;
  const height = heightOf(song.lanes.length);
  const x = (timeS) => ((timeS - view.startS) / (view.endS - view.startS)) * width;
  context.fillStyle = palette.sheet;
  context.fillRect(0, 0, width, RULER_PX);
  if (scene.loop) wash(context, scene.loop, x, palette, height);
  drawRuler(context, { ...song, view, width }, palette, x, height - CLOCK_PX);
  for (const [at, lane] of song.lanes.entries())
    drawLane(
      context,
      scene,
      { lane, sound: sounds[at], onsets: scene.onsets[at], top: RULER_PX + at * LANE_PX, isHeard: scene.gains[at] > 0 },
      palette,
      x,
    );
  drawClock(context, scene, palette, x, height);
  drawMarks(context, song.marks, RULER_PX, height - CLOCK_PX, palette, x);
  if (scene.headS !== null) drawHead(context, x(scene.headS), palette, height);
}

function wash(context, loop, x, palette, height) {
  context.fillStyle = palette.wash;
  context.fillRect(x(loop.startS), RULER_PX - 14, x(loop.endS) - x(loop.startS), height - RULER_PX - CLOCK_PX + 14);
}

function drawLane(context, scene, { lane, sound, onsets, top, isHeard }, palette, x) {
  const { view, width } = scene;
  const middle = top + LANE_PX / 2;
  const reach = LANE_PX / 2 - 3;
  context.fillStyle = palette.rule;
  context.fillRect(0, top + LANE_PX - 1, width, 1);
  if (lane.leading_silence_s > 0.05) hatch(context, x(0), x(lane.leading_silence_s), top, palette);
  context.globalAlpha = isHeard ? 1 : 0.35;
  context.fillStyle = palette.wave;
  context.fillRect(Math.max(0, x(0)), middle - 0.5, Math.min(width, x(lane.duration_s)) - Math.max(0, x(0)), 1);
  drawSound(context, sound, lane, view, width, middle, reach);
  context.globalAlpha = 1;
  drawOnsets(context, onsets, view, x, top + LANE_PX - 1, palette);
  drawMarks(context, lane.marks, top + 2, top + LANE_PX - 2, palette, x);
}

function drawSound(context, sound, lane, view, width, middle, reach) {
  const part = wantsCloseUp(view) ? sound.partOver(view.startS, view.endS) : null;
  if (part?.pcm) drawPcm(context, part, lane, view, width, middle, reach);
  else if (sound.levels) drawColumns(context, sound, part, lane, view, width, middle, reach);
}

function drawColumns(context, sound, part, lane, view, width, middle, reach) {
  const columns = Math.min(Math.round(width), buffer.length / 2);
  const { pairs, perS, offsetS } = part
    ? {
        pairs: part.pairs,
        perS: part.points / (part.frames / lane.sample_rate_hz),
        offsetS: part.start / lane.sample_rate_hz,
      }
    : levelFor(sound, (view.endS - view.startS) / columns);
  columnsBetween(pairs, (view.startS - offsetS) * perS, (view.endS - offsetS) * perS, columns, buffer);
  // Rectangles, not one path of them: filling a path of a thousand takes twice as long.
  for (let column = 0; column < columns; column++) {
    const high = buffer[2 * column + 1];
    const low = buffer[2 * column];
    if (low === 0 && high === 0) continue;
    const y = middle - (high / 127) * reach;
    context.fillRect(column, y, 1, Math.max(1, ((high - low) / 127) * reach));
  }
}

/** The coarsest level that still has two points for a column. */
function levelFor(sound, columnS) {
  let chosen = 0;
  for (let level = 1; level < sound.levels.length; level++) if (sound.pointS(level) * 2 <= columnS) chosen = level;
  return { pairs: sound.levels[chosen], perS: 1 / sound.pointS(chosen), offsetS: 0 };
}

function drawPcm(context, part, lane, view, width, middle, reach) {
  const rateHz = lane.sample_rate_hz;
  const pxPerFrame = width / ((view.endS - view.startS) * rateHz);
  const first = Math.max(0, Math.floor(view.startS * rateHz) - part.start - 1);
  const last = Math.min(part.pcm.length, Math.ceil(view.endS * rateHz) - part.start + 1);
  context.beginPath();
  for (let at = first; at < last; at++) {
    const left = (part.start + at - view.startS * rateHz) * pxPerFrame;
    const y = middle - (part.pcm[at] / 32768) * reach;
    if (at === first) context.moveTo(left, y);
    else context.lineTo(left, y);
    if (pxPerFrame > 6) context.rect(left - 1.5, y - 1.5, 3, 3);
    if (pxPerFrame > 6) context.moveTo(left, y);
  }
  context.strokeStyle = context.fillStyle;
  context.lineWidth = 1;
  context.stroke();
}

function hatch(context, left, right, top, palette) {
  context.fillStyle = palette.inset;
  context.fillRect(left, top, right - left, LANE_PX - 1);
  context.strokeStyle = palette.rule;
  context.lineWidth = 1;
  context.beginPath();
  for (let at = left; at < right; at += 9) {
    context.moveTo(at, top + LANE_PX - 1);
    context.lineTo(Math.min(right, at + 9), top);
  }
  context.stroke();
}

function drawMarks(context, marks, top, bottom, palette, x) {
  for (const mark of marks) {
    const left = x(mark.time_s);
    const isPlace = mark.severity === "place";
    context.fillStyle = isPlace || mark.severity === "note" ? palette.soft : palette.accent;
    if (mark.end_s > mark.time_s) context.fillRect(left, bottom - 4, Math.max(2, x(mark.end_s) - left), 4);
    context.fillRect(left, isPlace ? bottom - 9 : top, isPlace ? 2 : 1.5, bottom - (isPlace ? bottom - 9 : top));
  }
}

function drawClock(context, { view, width }, palette, x, height) {
  context.fillStyle = palette.sheet;
  context.fillRect(0, height - CLOCK_PX, width, CLOCK_PX);
  context.font = `400 ${palette.figurePx - 1}px ${palette.face}`;
  context.fillStyle = palette.soft;
  const pxPerS = width / (view.endS - view.startS);
  const { step, decimals } = clockSteps(view, width, (text) => context.measureText(text).width);
  for (let count = Math.ceil(view.startS / step); count * step < view.endS; count++) {
    const [left, text] = [x(count * step), clock(count * step, decimals)];
    context.fillRect(left, height - CLOCK_PX, 1, 5);
    if (left + 4 + context.measureText(text).width <= width) context.fillText(text, left + 4, height - 6);
    if (pxPerS * step < 2) break;
  }
}

function drawHead(context, left, palette, height) {
  context.fillStyle = palette.ink;
  context.fillRect(left - 1, RULER_PX - 10, 2, height - RULER_PX - CLOCK_PX + 10);
  context.beginPath();
  context.moveTo(left - 7, RULER_PX - 14);
  context.lineTo(left + 7, RULER_PX - 14);
  context.lineTo(left, RULER_PX - 3);
  context.fill();
}
