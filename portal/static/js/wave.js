// The picture of a sound under its bar ruler.
//
//   <figure class="wave" data-wave data-wave-src="URL" data-wave-label="bass.wav"> ...a list of the marks, as text... </figure>
//
// URL answers {duration_s, levels: [{frames_per_point, min, max}], marks: [{time_s, end_s, label, severity}],
// grid: {bars: [{bar, time_s}]}}. A press on the picture sends "wave:seek" ({timeS}); "player:time" ({timeS}) moves its head.
import { attach } from "kitpost/attach";
import { clock, placeText } from "kitpost/bars";
import { draw, inkOf } from "kitpost/drawing";
import { framesPerSecond, pan, windowAround, zoomAt } from "kitpost/pyramid";

const HEIGHT_PX = 190;
const LEAST_VIEW_S = 0.05;
const KEYS = {
  ArrowLeft: (wave) => wave.pan(-0.2),
  ArrowRight: (wave) => wave.pan(0.2),
  "+": (wave) => wave.zoom(0.5),
  "=": (wave) => wave.zoom(0.5),
  "-": (wave) => wave.zoom(2),
  Home: (wave) => wave.whole(),
  0: (wave) => wave.whole(),
  n: (wave) => wave.nextMark(1),
  p: (wave) => wave.nextMark(-1),
};

class Wave {
  constructor(element, sound) {
    this.element = element;
    this.sound = sound;
    this.marks = [...(sound.marks ?? [])].sort((a, b) => a.time_s - b.time_s);
    this.bars = sound.grid?.bars ?? [];
    this.framesPerS = sound.sample_rate_hz ?? framesPerSecond(sound.levels, sound.duration_s);
    this.view = { startS: 0, endS: sound.duration_s };
    this.headS = null;
    this.markIndex = -1;
    this.build();
  }

  build() {
    this.canvas = document.createElement("canvas");
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute("role", "img");
    this.canvas.setAttribute("aria-label", this.describe());
    this.bar = document.createElement("div");
    this.bar.className = "wave-bar";
    this.where = document.createElement("span");
    this.where.className = "where";
    const buttons = document.createElement("span");
    buttons.className = "buttons";
    buttons.append(
      this.button("◀", "Earlier", (wave) => wave.pan(-0.5)),
      this.button("▶", "Later", (wave) => wave.pan(0.5)),
      this.button("+", "Closer", (wave) => wave.zoom(0.5)),
      this.button("−", "Wider", (wave) => wave.zoom(2)),
      this.button("Whole", "Show the whole file", (wave) => wave.whole()),
    );
    if (this.marks.length) buttons.append(this.button("Next mark", "Go to the next mark", (wave) => wave.nextMark(1)));
    this.bar.append(this.where, buttons);
    this.element.prepend(this.canvas, this.bar);
  }

  describe() {
    const name = this.element.dataset.waveLabel ?? "Sound";
    const marks = this.marks.length === 1 ? "1 mark" : `${this.marks.length} marks`;
    return `${name}, ${clock(this.sound.duration_s)}, ${marks}. Arrow keys move, plus and minus zoom, N goes to the next mark.`;
  }

  button(text, label, act) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = text;
    button.setAttribute("aria-label", label);
    button.title = label;
    button.addEventListener("click", () => act(this));
    return button;
  }

  pan(share) {
    this.show(pan(this.view, share * (this.view.endS - this.view.startS), this.sound.duration_s));
  }

  zoom(factor, momentS = this.headInView() ?? (this.view.startS + this.view.endS) / 2) {
    this.show(zoomAt(this.view, momentS, factor, this.sound.duration_s, LEAST_VIEW_S));
  }

  headInView() {
    return this.headS !== null && this.headS >= this.view.startS && this.headS <= this.view.endS ? this.headS : null;
  }

  whole() {
    this.show({ startS: 0, endS: this.sound.duration_s });
  }

  nextMark(by) {
    if (!this.marks.length) return;
    this.markIndex = (this.markIndex + by + this.marks.length) % this.marks.length;
    const mark = this.marks[this.markIndex];
    const lengthS = Math.min(this.view.endS - this.view.startS, 8);
    this.show(windowAround(mark.time_s, lengthS, this.sound.duration_s, LEAST_VIEW_S));
    this.say(mark.time_s, mark.label);
  }

  momentAt(event) {
    const box = this.canvas.getBoundingClientRect();
    return this.view.startS + ((event.clientX - box.left) / box.width) * (this.view.endS - this.view.startS);
  }

  show(view) {
    this.view = view;
    this.redraw();
  }

  say(timeS, label = "") {
    this.where.textContent = [label, placeText(this.bars, timeS), clock(timeS, 1)].filter(Boolean).join(" · ");
  }

  redraw() {
    const width = this.element.clientWidth;
    const ratio = window.devicePixelRatio || 1;
    if (!width) return;
    this.canvas.width = Math.round(width * ratio);
    this.canvas.height = HEIGHT_PX * ratio;
    this.canvas.style.height = `${HEIGHT_PX}px`;
    const context = this.canvas.getContext("2d");
    context.scale(ratio, ratio);
    const { sound, framesPerS, bars, marks, view, headS } = this;
    draw(context, { sound, framesPerS, bars, marks, view, headS, width, height: HEIGHT_PX }, inkOf(this.element));
    if (!this.where.textContent) this.where.textContent = `${clock(sound.duration_s, 1)} long`;
  }
}

function listen(wave, signal) {
  const { canvas, element } = wave;
  let dragged = null;
  const on = (target, name, act, options = {}) => target.addEventListener(name, act, { signal, ...options });
  on(canvas, "keydown", (event) => {
    const act = KEYS[event.key];
    if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    act(wave);
  });
  on(canvas, "wheel", (event) => {
    if (!event.ctrlKey && Math.abs(event.deltaX) <= Math.abs(event.deltaY)) return;
    event.preventDefault();
    if (event.ctrlKey) wave.zoom(event.deltaY > 0 ? 1.25 : 0.8, wave.momentAt(event));
    else wave.pan(event.deltaX / canvas.clientWidth);
  }, { passive: false });
  on(canvas, "pointerdown", (event) => {
    dragged = { x: event.clientX, moved: false };
    canvas.setPointerCapture(event.pointerId);
  });
  on(canvas, "pointermove", (event) => {
    wave.say(wave.momentAt(event));
    if (!dragged) return;
    const byPx = event.clientX - dragged.x;
    if (!dragged.moved && Math.abs(byPx) < 4) return;
    dragged = { x: event.clientX, moved: true };
    wave.pan(-byPx / canvas.clientWidth);
  });
  on(canvas, "pointercancel", () => (dragged = null));
  on(canvas, "pointerup", (event) => {
    if (dragged && !dragged.moved) seek(wave, wave.momentAt(event));
    dragged = null;
  });
  on(element, "player:time", (event) => {
    wave.headS = event.detail.timeS;
    wave.redraw();
  });
}

function seek(wave, timeS) {
  wave.headS = Math.min(Math.max(0, timeS), wave.sound.duration_s);
  wave.say(wave.headS);
  wave.redraw();
  wave.element.dispatchEvent(new CustomEvent("wave:seek", { bubbles: true, detail: { timeS: wave.headS } }));
}

async function load(element, signal) {
  const answer = await fetch(element.dataset.waveSrc, { signal, headers: { Accept: "application/json" } });
  if (!answer.ok) throw new Error(`the picture of the sound could not be had (${answer.status})`);
  const wave = new Wave(element, await answer.json());
  if (signal.aborted) return;
  listen(wave, signal);
  const watcher = new ResizeObserver(() => wave.redraw());
  watcher.observe(element);
  signal.addEventListener("abort", () => {
    watcher.disconnect();
    wave.canvas.remove();
    wave.bar.remove();
  });
}

attach("[data-wave]", (element) => {
  const leaving = new AbortController();
  load(element, leaving.signal).catch((error) => {
    if (leaving.signal.aborted) return;
    element.dataset.state = "failed";
    console.error(error);
  });
  return () => leaving.abort();
});
