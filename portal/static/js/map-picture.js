// The picture of a tempo map: the bar ruler, each attack as a dot above (early) or below (late) the line, the anchors on it.
import { numberEvery } from "kitpost/bars";
import { inkOf } from "kitpost/ink";

export const HANDLE_PX = 9;
const HEIGHT_PX = 260;
const RULER_PX = 30;

export class MapPicture {
  constructor(canvas) {
    this.canvas = canvas;
    this.width = 0;
    this.durationS = 1;
    this.reachMs = 1;
  }

  /** Milliseconds that one pixel up or down stands for. */
  get msPerPx() {
    return (2 * this.reachMs) / (HEIGHT_PX - RULER_PX);
  }

  x(timeS) {
    return (timeS / this.durationS) * this.width;
  }

  y(lateMs) {
    return RULER_PX + (HEIGHT_PX - RULER_PX) / 2 + lateMs / this.msPerPx;
  }

  /** `scene`: {seen: {duration_s, bars, dots}, anchors, chosen, reachMs}. */
  draw(scene) {
    const ratio = window.devicePixelRatio || 1;
    this.width = this.canvas.clientWidth;
    this.durationS = Math.max(scene.seen.duration_s, 1);
    this.reachMs = scene.reachMs;
    if (!this.width) return;
    Object.assign(this.canvas, { width: Math.round(this.width * ratio), height: HEIGHT_PX * ratio });
    this.canvas.style.height = `${HEIGHT_PX}px`;
    const context = this.canvas.getContext("2d");
    context.scale(ratio, ratio);
    const ink = inkOf(this.canvas);
    this.drawRuler(context, ink, scene.seen.bars);
    this.drawDots(context, ink, scene.seen.dots);
    this.drawAnchors(context, ink, scene);
  }

  drawRuler(context, ink, bars) {
    context.clearRect(0, 0, this.width, HEIGHT_PX);
    context.fillStyle = ink.sheet;
    context.fillRect(0, 0, this.width, RULER_PX);
    context.font = `600 ${ink.figurePx}px ${ink.face}`;
    const barPx = bars.length > 1 ? (this.x(bars.at(-1).time_s) - this.x(bars[0].time_s)) / (bars.length - 1) : this.width;
    const every = numberEvery(barPx, ink.figurePx * 3.4);
    for (const { bar, time_s: timeS } of bars) {
      if ((bar - 1) % every !== 0) continue;
      context.fillStyle = ink.rule;
      context.fillRect(this.x(timeS), RULER_PX, 1, HEIGHT_PX);
      context.fillStyle = ink.ink;
      context.fillRect(this.x(timeS), 6, 2, RULER_PX - 6);
      context.fillText(String(bar), this.x(timeS) + 5, 6 + ink.figurePx);
    }
    context.fillStyle = ink.ink;
    context.fillRect(0, RULER_PX - 2, this.width, 2);
    context.fillStyle = ink.soft;
    context.fillRect(0, this.y(0), this.width, 1);
  }

  drawDots(context, ink, dots) {
    context.fillStyle = ink.wave;
    for (const [timeS, lateMs, share] of dots) {
      if (Math.abs(lateMs) > this.reachMs) continue;
      const size = 1.5 + 2.5 * share;
      context.fillRect(this.x(timeS) - size / 2, this.y(lateMs) - size / 2, size, size);
    }
  }

  drawAnchors(context, ink, { anchors, chosen }) {
    for (const [at, anchor] of anchors.entries()) {
      const isChosen = at === chosen;
      context.fillStyle = isChosen ? ink.accent : ink.ink;
      context.fillRect(this.x(anchor.time_s) - (isChosen ? 1 : 0.5), RULER_PX, isChosen ? 2 : 1, HEIGHT_PX);
      context.beginPath();
      context.moveTo(this.x(anchor.time_s), this.y(0) - HANDLE_PX);
      context.lineTo(this.x(anchor.time_s) + HANDLE_PX / 2, this.y(0));
      context.lineTo(this.x(anchor.time_s), this.y(0) + HANDLE_PX);
      context.lineTo(this.x(anchor.time_s) - HANDLE_PX / 2, this.y(0));
      context.fill();
    }
  }
}
