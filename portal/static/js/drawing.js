// Draws a sound under its bar ruler. Everything comes in as arguments; colours come from the page's style.
import { clock, numberEvery, secondsEvery } from "kitpost/bars";
import { chooseLevel, columnsOf } from "kitpost/pyramid";

const RULER_PX = 38;
const CLOCK_PX = 22;
const MARK_PX = 7;

export function inkOf(element) {
  const style = getComputedStyle(element);
  const token = (name) => style.getPropertyValue(`--${name}`).trim();
  const names = ["ink", "soft", "rule", "edge", "accent", "on-accent", "wash", "wave", "inset", "sheet"];
  return { ...Object.fromEntries(names.map((name) => [name, token(name)])), face: style.fontFamily, figurePx: Number(token("ruler-px")) };
}

/** `scene`: {sound, framesPerS, bars, marks, view, headS, width, height}; sizes in CSS pixels. */
export function draw(context, scene, ink) {
  const { view, width, height } = scene;
  const x = (timeS) => ((timeS - view.startS) / (view.endS - view.startS)) * width;
  context.clearRect(0, 0, width, height);
  context.fillStyle = ink.sheet;
  context.fillRect(0, 0, width, RULER_PX);
  drawSpans(context, scene, ink, x);
  drawBars(context, scene, ink, x);
  drawSound(context, scene, ink);
  drawClock(context, scene, ink, x);
  drawMarks(context, scene, ink, x);
  if (scene.headS !== null) drawHead(context, scene, ink, x);
}

function drawSpans(context, { marks, height }, ink, x) {
  for (const mark of marks) {
    if (!(mark.end_s > mark.time_s)) continue;
    context.fillStyle = ink.wash;
    context.fillRect(x(mark.time_s), RULER_PX, Math.max(2, x(mark.end_s) - x(mark.time_s)), height - RULER_PX - CLOCK_PX);
  }
}

function drawBars(context, { bars, view, width, height }, ink, x) {
  context.strokeStyle = ink.ink;
  context.lineWidth = 2;
  line(context, 0, RULER_PX, width, RULER_PX);
  if (bars.length < 2) return;
  const meanBarPx = (x(bars.at(-1).time_s) - x(bars[0].time_s)) / (bars.length - 1);
  const every = numberEvery(meanBarPx, ink.figurePx * 3.4);
  const strokes = numberEvery(meanBarPx, 7);
  context.font = `600 ${ink.figurePx}px ${ink.face}`;
  for (const [index, { bar, time_s: timeS, beats }] of bars.entries()) {
    const numbered = (bar - 1) % every === 0;
    const left = x(timeS);
    if (timeS > view.endS) break;
    if (beats && meanBarPx > 60 && bars[index + 1]) drawBeats(context, left, x(bars[index + 1].time_s), beats, ink);
    if (left < -60 || (bar - 1) % strokes !== 0) continue;
    context.strokeStyle = numbered ? ink.ink : ink.soft;
    context.lineWidth = numbered ? 2 : 1;
    line(context, left, numbered ? 8 : RULER_PX - 12, left, RULER_PX);
    context.strokeStyle = ink.rule;
    context.lineWidth = 1;
    line(context, left, RULER_PX + 1, left, height - CLOCK_PX);
    context.fillStyle = ink.ink;
    if (numbered) context.fillText(String(bar), left + 5, 6 + ink.figurePx);
  }
}

function drawBeats(context, left, right, beats, ink) {
  context.strokeStyle = ink.soft;
  context.lineWidth = 1;
  for (let beat = 1; beat < beats; beat++) {
    const at = left + ((right - left) * beat) / beats;
    line(context, at, RULER_PX - 7, at, RULER_PX);
  }
}

function drawSound(context, { sound, framesPerS, view, width, height }, ink) {
  const level = chooseLevel(sound.levels, ((view.endS - view.startS) * framesPerS) / width);
  const columns = columnsOf(level, framesPerS / level.frames_per_point, view.startS, view.endS, Math.round(width));
  const half = (height - RULER_PX - CLOCK_PX) / 2;
  const middle = RULER_PX + half;
  const reach = half - 4;
  context.fillStyle = ink.wave;
  context.fillRect(0, middle - 0.5, width, 1);
  for (const [column, [low, high]] of columns.entries()) {
    const top = middle - Math.min(1, high) * reach;
    const bottom = middle - Math.max(-1, low) * reach;
    context.fillRect(column, top, 1, Math.max(1, bottom - top));
  }
}

function drawClock(context, { view, width, height }, ink, x) {
  context.fillStyle = ink.sheet;
  context.fillRect(0, height - CLOCK_PX, width, CLOCK_PX);
  context.font = `400 ${ink.figurePx - 1}px ${ink.face}`;
  context.fillStyle = ink.soft;
  context.strokeStyle = ink.edge;
  context.lineWidth = 1;
  const step = secondsEvery(width / (view.endS - view.startS), ink.figurePx * 5);
  const decimals = step < 1 ? 1 : 0;
  for (let count = Math.ceil(view.startS / step); count * step < view.endS; count++) {
    const left = x(count * step);
    line(context, left, height - CLOCK_PX, left, height - CLOCK_PX + 5);
    if (left < width - ink.figurePx * 2.5) context.fillText(clock(count * step, decimals), left + 4, height - 6);
  }
}

function drawMarks(context, { marks, height }, ink, x) {
  for (const mark of marks) {
    const at = x(mark.time_s);
    context.strokeStyle = mark.severity === "note" ? ink.soft : ink.accent;
    context.lineWidth = mark.severity === "stop" ? 2 : 1.5;
    context.setLineDash(mark.severity === "stop" ? [] : [5, 3]);
    line(context, at, RULER_PX, at, height - CLOCK_PX);
    context.setLineDash([]);
    drawFlag(context, at, height - CLOCK_PX - MARK_PX - 3, mark.severity, ink);
  }
}

// The marks of the findings' list: an octagon for stop, a ring with a question mark for ask, a dash for note.
function drawFlag(context, x, y, severity, ink) {
  context.fillStyle = severity === "stop" ? ink.accent : ink.sheet;
  context.strokeStyle = severity === "stop" ? ink.accent : ink.ink;
  context.lineWidth = 2;
  context.beginPath();
  if (severity === "stop") {
    for (let corner = 0; corner < 8; corner++) {
      const angle = Math.PI / 8 + (corner * Math.PI) / 4;
      context.lineTo(x + MARK_PX * Math.cos(angle), y + MARK_PX * Math.sin(angle));
    }
    context.closePath();
  } else if (severity === "ask") context.arc(x, y, MARK_PX, 0, 2 * Math.PI);
  else context.rect(x - MARK_PX, y - 1.5, 2 * MARK_PX, 3);
  context.fill();
  context.stroke();
  if (severity !== "ask") return;
  context.fillStyle = ink.ink;
  context.font = `700 10px ${ink.face}`;
  context.textAlign = "center";
  context.fillText("?", x, y + 3.5);
  context.textAlign = "left";
}

function drawHead(context, { headS, height }, ink, x) {
  const at = x(headS);
  context.strokeStyle = ink.ink;
  context.lineWidth = 2;
  line(context, at, RULER_PX, at, height - CLOCK_PX);
  context.fillStyle = ink.ink;
  context.beginPath();
  context.moveTo(at - 7, RULER_PX - 9);
  context.lineTo(at + 7, RULER_PX - 9);
  context.lineTo(at, RULER_PX + 2);
  context.fill();
}

function line(context, fromX, fromY, toX, toY) {
  context.beginPath();
  context.moveTo(fromX, fromY);
  context.lineTo(toX, toY);
  context.stroke();
}
