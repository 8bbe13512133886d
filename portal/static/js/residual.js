// How far the playing lies from the grid, bar by bar: sums, and the picture under the lanes. A grid that drifts from the
// music shows as a slope, a beat too many as a step.
import { barIndexAt } from "kitpost/bars";

const RESIDUAL_PX = 84;
const LEAST_SCALE_MS = 20;
// An attack further from every beat belongs to none: it may be an eighth or a sixteenth.
const MOST_BEATS_OFF = 0.25;

/** `beatsS` in order, `bars` of the ruler, `onsetsS` of all lanes: [{bar, timeS, ms, count}], the middle one of each bar.
 *  Above zero the playing comes after the grid. A free bar has no grid: nothing in it is held against the beats that
 *  count in what follows. */
export function residualOf(beatsS, bars, onsetsS) {
  if (beatsS.length < 2) return [];
  const offs = new Map();
  for (const onsetS of onsetsS) {
    const beat = nearest(beatsS, onsetS);
    const beatS = Math.min(beatsS[beat + 1] - beatsS[beat] || Infinity, beatsS[beat] - beatsS[beat - 1] || Infinity);
    const offS = onsetS - beatsS[beat];
    const bar = barIndexAt(bars, beatsS[beat]);
    if (bar < 0 || bars[bar].free || !(Math.abs(offS) <= MOST_BEATS_OFF * beatS)) continue;
    if (!offs.has(bar)) offs.set(bar, []);
    offs.get(bar).push(offS * 1000);
  }
  return [...offs]
    .sort((one, other) => one[0] - other[0])
    .map(([bar, ms]) => ({ bar: bars[bar].bar, timeS: bars[bar].time_s, ms: median(ms), count: ms.length }));
}

function nearest(beatsS, timeS) {
  let low = 0;
  let high = beatsS.length - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (beatsS[middle] < timeS) low = middle + 1;
    else high = middle;
  }
  return low > 0 && timeS - beatsS[low - 1] <= beatsS[low] - timeS ? low - 1 : low;
}

export function median(values) {
  const sorted = [...values].sort((one, other) => one - other);
  const middle = sorted.length >> 1;
  return sorted.length % 2 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
}

/** Number (32 bits), microseconds (32 bits each), strengths (a byte each): [{timeS, strength}] with strength up to 1. */
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
    for (const text of [ms.toFixed(1).replace("-", "−"), String(count)]) Object.assign(row.insertCell(), { className: "num", textContent: text });
  }
}

export function drawResidual(canvas, { points, view, width, ratio }, ink) {
  Object.assign(canvas, { width: Math.round(width * ratio), height: RESIDUAL_PX * ratio });
  const context = canvas.getContext("2d");
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  const middle = RESIDUAL_PX / 2;
  const x = (timeS) => ((timeS - view.startS) / (view.endS - view.startS)) * width;
  const mostMs = Math.max(LEAST_SCALE_MS, ...points.map((point) => Math.abs(point.ms)));
  const y = (ms) => middle - (ms / mostMs) * (middle - 8);
  context.fillStyle = ink.edge;
  context.fillRect(0, middle, width, 1);
  context.fillStyle = context.strokeStyle = ink.wave;
  context.lineWidth = 1.5;
  context.beginPath();
  for (const point of points) context.lineTo(x(point.timeS), y(point.ms));
  context.stroke();
  const isWide = points.length > 1 && x(points[1].timeS) - x(points[0].timeS) > 6;
  if (isWide) for (const point of points) context.fillRect(x(point.timeS) - 2.5, y(point.ms) - 2.5, 5, 5);
  context.fillStyle = ink.ink;
  context.font = `400 ${ink.figurePx - 1}px ${ink.face}`;
  context.fillText(`+${Math.round(mostMs)} ms: behind the grid`, 6, ink.figurePx + 2);
  context.fillText(`−${Math.round(mostMs)} ms: ahead of it`, 6, RESIDUAL_PX - 6);
}

/** Onsets of one lane as ticks on its foot; only where they can be told apart. */
export function drawOnsets(context, onsets, view, x, footPx, ink) {
  if (view.endS - view.startS > 40) return;
  context.fillStyle = ink.ink;
  for (const { timeS, strength } of onsets) {
    if (timeS < view.startS || timeS > view.endS) continue;
    const height = 4 + 8 * strength;
    context.fillRect(x(timeS) - 0.5, footPx - height, 1, height);
  }
}
