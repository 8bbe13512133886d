// How far the playing lies from the grid, bar by bar, in the picture under the lanes. A grid that drifts from the music
// shows as a slope, a beat too many as a step. The figures are the map page's.

import { clearedContext } from "kitpost/lib/canvas";

const RESIDUAL_PX = 84;
const MARGIN_PX = 8;
const LEAST_SCALE_MS = 20;
const MOST_TIMES = 2;
const SHARE = 0.9;

/** `bars` of the ruler: [{bar, timeS, ms, count}] of those in which something is played that can be late. Above zero
 *  the playing comes after the grid. */
export function residualOf(bars) {
  return bars
    .filter((line) => Number.isFinite(line.late_ms))
    .map((line) => ({ bar: line.bar, timeS: line.time_s, ms: line.late_ms, count: line.attacks }));
}

/** What the picture reaches to, in ms: all of it, but no more than twice what the bars of nine attacks in ten keep
 *  within. A last bar of a few ringing notes then lies outside and leaves the others their shape; a slope or a step
 *  is kept whole. */
export function scaleMs(points) {
  const sorted = points.map(({ ms, count }) => ({ ms: Math.abs(ms), count })).sort((one, other) => one.ms - other.ms);
  const enough = SHARE * sorted.reduce((sum, point) => sum + point.count, 0);
  let seen = 0;
  const kept = sorted.find((point) => (seen += point.count) >= enough)?.ms ?? 0;
  return Math.max(LEAST_SCALE_MS, Math.min(sorted.at(-1)?.ms ?? 0, MOST_TIMES * kept));
}

/** Number (32 bits), microseconds (32 bits each), strengths (a byte each): [{timeS, strength}] with strength up to
 *  1. */
export function onsetsFrom(bytes) {
  const count = new DataView(bytes).getUint32(0, true);
  const times = new Uint32Array(bytes, 4, count);
  const strengths = new Uint8Array(bytes, 4 + 4 * count, count);
  return Array.from(times, (time, at) => ({ timeS: time / 1e6, strength: strengths[at] / 255 }));
}

export async function onsetsOf(lane) {
  const answer = await fetch(lane.onsets);
  return answer.ok ? onsetsFrom(await answer.arrayBuffer()) : [];
}

/** The same as a table: bar, milliseconds, attacks. */
export function fillRows(body, points) {
  body.replaceChildren();
  for (const { bar, ms, count } of points) {
    const row = body.insertRow();
    const head = document.createElement("th");
    Object.assign(head, { scope: "row", textContent: String(bar) });
    row.append(head);
    for (const text of [ms.toFixed(1).replace("-", "−"), String(count)])
      Object.assign(row.insertCell(), { className: "num", textContent: text });
  }
}

export function drawResidual(canvas, { points, view, width, ratio }, palette) {
  const context = clearedContext(canvas, width, RESIDUAL_PX, ratio);
  const middle = RESIDUAL_PX / 2;
  const x = (timeS) => ((timeS - view.startS) / (view.endS - view.startS)) * width;
  const mostMs = scaleMs(points);
  const y = (ms) => middle - (Math.min(Math.max(ms, -mostMs), mostMs) / mostMs) * (middle - MARGIN_PX);
  context.fillStyle = palette.edge;
  context.fillRect(0, middle, width, 1);
  context.fillStyle = context.strokeStyle = palette.wave;
  context.lineWidth = 1.5;
  context.beginPath();
  for (const point of points) context.lineTo(x(point.timeS), y(point.ms));
  context.stroke();
  const isWide = points.length > 1 && x(points[1].timeS) - x(points[0].timeS) > 6;
  for (const point of points) {
    if (Math.abs(point.ms) > mostMs) drawOutside(context, x(point.timeS), y(point.ms), Math.sign(point.ms), palette);
    else if (isWide) context.fillRect(x(point.timeS) - 2.5, y(point.ms) - 2.5, 5, 5);
  }
  sayScale(context, mostMs, palette);
}

/** An arrow at the edge: the bar lies further out. */
function drawOutside(context, left, top, way, palette) {
  context.fillStyle = palette.accent;
  context.beginPath();
  context.moveTo(left, top - 7 * way);
  context.lineTo(left - 5, top + 2 * way);
  context.lineTo(left + 5, top + 2 * way);
  context.fill();
  context.fillStyle = palette.wave;
}

function sayScale(context, mostMs, palette) {
  context.fillStyle = palette.ink;
  context.font = `400 ${palette.figurePx - 1}px ${palette.face}`;
  context.fillText(`+${Math.round(mostMs)} ms: behind the grid`, 6, palette.figurePx + 2);
  context.fillText(`−${Math.round(mostMs)} ms: ahead of the grid`, 6, RESIDUAL_PX - 6);
}

/** Onsets of one lane as ticks on its foot; only where they can be told apart. */
export function drawOnsets(context, onsets, view, x, footPx, palette) {
  if (view.endS - view.startS > 40) return;
  context.fillStyle = palette.ink;
  for (const { timeS, strength } of onsets) {
    if (timeS < view.startS || timeS > view.endS) continue;
    const height = 4 + 8 * strength;
    context.fillRect(x(timeS) - 0.5, footPx - height, 1, height);
  }
}
