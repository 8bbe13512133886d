// The picture of a tempo map: the bar ruler, each attack as a dot above (early) or below (late) the line, the anchors
// on it, what is free of the grid hatched.
import { numberEvery } from "kitpost/lib/bars";
import { paletteOf } from "kitpost/lib/palette";

export const HANDLE_PX = 9;
const HEIGHT_PX = 260;
const RULER_PX = 30;
const HATCH_PX = 12;

export class MapPicture {
  constructor(canvas) {
    this.canvas = canvas;
    this.width = 0;
    this.view = { startS: 0, endS: 1 };
    this.reachMs = 1;
  }

  /** Milliseconds that one pixel up or down stands for. */
  get msPerPx() {
    return (2 * this.reachMs) / (HEIGHT_PX - RULER_PX);
  }

  x(timeS) {
    return ((timeS - this.view.startS) / (this.view.endS - this.view.startS)) * this.width;
  }

  timeAt(x) {
    return this.view.startS + (x / this.width) * (this.view.endS - this.view.startS);
  }

  y(lateMs) {
    return RULER_PX + (HEIGHT_PX - RULER_PX) / 2 + lateMs / this.msPerPx;
  }

  /** `scene`: {seen: {duration_s, bars, dots}, anchors, chosen, reachMs, view, headS, taps}; no view is the whole
   *  song. */
  draw(scene) {
    const ratio = window.devicePixelRatio || 1;
    this.width = this.canvas.clientWidth;
    this.view = scene.view ?? { startS: 0, endS: Math.max(scene.seen.duration_s, 1) };
    this.reachMs = scene.reachMs;
    if (!this.width) return;
    if (this.canvas.width !== Math.round(this.width * ratio)) {
      Object.assign(this.canvas, { width: Math.round(this.width * ratio), height: HEIGHT_PX * ratio });
      this.canvas.style.height = `${HEIGHT_PX}px`;
    }
    this.palette ??= paletteOf(this.canvas);
    const context = this.canvas.getContext("2d");
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.drawRuler(context, scene.seen.bars);
    this.drawFree(context, scene);
    this.drawDots(context, scene.seen.dots);
    this.drawAnchors(context, scene);
    this.drawTaps(context, scene.taps ?? []);
    if (Number.isFinite(scene.headS)) this.drawHead(context, this.x(scene.headS));
  }

  drawRuler(context, bars) {
    const { palette } = this;
    context.clearRect(0, 0, this.width, HEIGHT_PX);
    context.fillStyle = palette.sheet;
    context.fillRect(0, 0, this.width, RULER_PX);
    context.font = `600 ${palette.figurePx}px ${palette.face}`;
    const barPx =
      bars.length > 1 ? (this.x(bars.at(-1).time_s) - this.x(bars[0].time_s)) / (bars.length - 1) : this.width;
    const every = numberEvery(barPx, palette.figurePx * 3.4);
    for (const { bar, time_s: timeS } of bars) {
      const left = this.x(timeS);
      if ((bar - 1) % every !== 0 || left < -HATCH_PX * 4 || left > this.width) continue;
      context.fillStyle = palette.rule;
      context.fillRect(left, RULER_PX, 1, HEIGHT_PX);
      context.fillStyle = palette.ink;
      context.fillRect(left, 6, 2, RULER_PX - 6);
      if (left + 5 + context.measureText(String(bar)).width <= this.width)
        context.fillText(String(bar), left + 5, 6 + palette.figurePx);
    }
    context.fillStyle = palette.ink;
    context.fillRect(0, RULER_PX - 2, this.width, 2);
    context.fillStyle = palette.soft;
    context.fillRect(0, this.y(0), this.width, 1);
  }

  drawFree(context, { anchors }) {
    const { palette } = this;
    for (const [at, anchor] of anchors.entries()) {
      if (!anchor.free) continue;
      const left = Math.max(0, this.x(anchor.time_s));
      const right = at + 1 < anchors.length ? Math.min(this.width, this.x(anchors[at + 1].time_s)) : this.width;
      if (right <= left) continue;
      context.save();
      context.beginPath();
      context.rect(left, RULER_PX, right - left, HEIGHT_PX - RULER_PX);
      context.clip();
      context.fillStyle = palette.inset;
      context.fillRect(left, RULER_PX, right - left, HEIGHT_PX);
      context.strokeStyle = palette.edge;
      context.beginPath();
      for (let from = left - HEIGHT_PX; from < right; from += HATCH_PX) {
        context.moveTo(from, HEIGHT_PX);
        context.lineTo(from + HEIGHT_PX - RULER_PX, RULER_PX);
      }
      context.stroke();
      if (right - left > palette.figurePx * 3) {
        context.fillStyle = palette.sheet;
        context.fillRect(
          left + 4,
          HEIGHT_PX - 8 - palette.figurePx * 1.5,
          palette.figurePx * 2.6,
          palette.figurePx * 1.5,
        );
        context.fillStyle = palette.ink;
        context.fillText("free", left + 8, HEIGHT_PX - 8 - palette.figurePx * 0.4);
      }
      context.restore();
    }
  }

  drawDots(context, dots) {
    context.fillStyle = this.palette.wave;
    const { startS, endS } = this.view;
    for (const [timeS, lateMs, share] of dots) {
      if (Math.abs(lateMs) > this.reachMs || timeS < startS || timeS > endS) continue;
      const size = 1.5 + 2.5 * share;
      context.fillRect(this.x(timeS) - size / 2, this.y(lateMs) - size / 2, size, size);
    }
  }

  drawAnchors(context, { anchors, chosen }) {
    for (const [at, anchor] of anchors.entries()) {
      const isChosen = at === chosen;
      const left = this.x(anchor.time_s);
      context.fillStyle = isChosen ? this.palette.accent : this.palette.ink;
      context.fillRect(left - (isChosen ? 1 : 0.5), RULER_PX, isChosen ? 2 : 1, HEIGHT_PX);
      context.beginPath();
      context.moveTo(left, this.y(0) - HANDLE_PX);
      context.lineTo(left + HANDLE_PX / 2, this.y(0));
      context.lineTo(left, this.y(0) + HANDLE_PX);
      context.lineTo(left - HANDLE_PX / 2, this.y(0));
      context.fill();
    }
  }

  /** Taps of the run that goes on: a mark at the foot each. */
  drawTaps(context, taps) {
    context.fillStyle = this.palette.ink;
    for (const tapS of taps) context.fillRect(this.x(tapS) - 1, HEIGHT_PX - 16, 2, 16);
  }

  drawHead(context, left) {
    context.fillStyle = this.palette.ink;
    context.fillRect(left - 1, RULER_PX - 4, 2, HEIGHT_PX);
    context.beginPath();
    context.moveTo(left - 6, RULER_PX - 10);
    context.lineTo(left + 6, RULER_PX - 10);
    context.lineTo(left, RULER_PX);
    context.fill();
  }
}
