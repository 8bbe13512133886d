// A song's files as lanes under the bar ruler, played with the click on top.
//
//   <section data-lanes data-lanes-src="URL"> [data-lanes-list] [data-lanes-picture] [data-lanes-bar] … </section>
import { attach } from "kitpost/lib/attach";
import { paletteOf } from "kitpost/lib/palette";
import { LaneSound } from "kitpost/lanes/sound";
import { LaneList } from "kitpost/lanes/list";
import { drawLanes, heightOf, wantsCloseUp } from "kitpost/lanes/drawing";
import { noteTaken, showHearingNote } from "kitpost/lib/hearing-note";
import { pan, windowAround, zoomAt } from "kitpost/lib/viewport";
import { drawResidual, fillRows, onsetsOf, residualOf } from "kitpost/lanes/residual";
import { LEAST_VIEW_S, listenToPointer } from "kitpost/lanes/pointer";
import { chooseSection, listSections, sectionBars, stepFor } from "kitpost/lanes/steps";
import { levelOfGain, listenToLevel } from "kitpost/lib/level";
import { whereText } from "kitpost/lanes/where";
import { Transport } from "kitpost/lanes/transport";
import { parseNumber } from "kitpost/lib/parse-number";

const CLOSE_UP_AFTER_MS = 90;
const MARK_VIEW_S = 4;
// Played from here it would end at once: it begins again.
const AT_THE_END_S = 0.1;
// Weaker attacks are no fixed points when it plays slower: they may be noise.
const FIRM = 0.15;

class Lanes {
  constructor(element, song) {
    this.element = element;
    this.song = song;
    this.sounds = song.lanes.map((lane) => new LaneSound(lane));
    this.onsets = song.lanes.map(() => []);
    this.residual = [];
    this.view = { startS: 0, endS: Math.max(song.duration_s, 1) };
    this.headS = 0;
    this.canvas = element.querySelector("canvas");
    this.said = element.querySelector("[data-lanes-said]");
    this.transport = new Transport(song, { onEnd: () => this.showState(), onLost: () => this.lose() });
    this.list = new LaneList(this.part("list"), song.lanes, (gains) => this.hear(gains));
    this.listen();
    this.observer = new ResizeObserver(() => this.ask());
    this.observer.observe(this.canvas);
    this.showResidual(song.playing ? null : []);
    element.dataset.state = "drawn";
    this.load();
  }

  part(name) {
    return this.element.querySelector(`[data-lanes-${name}]`);
  }

  /** The pictures first; what takes the server longer comes after them. */
  async load() {
    const pictures = this.sounds.map((sound) => sound.load().then(() => this.ask()));
    await Promise.allSettled(pictures);
    this.loadOnsets().catch(() => this.say("The attacks could not be loaded."));
    if (this.song.playing) this.loadPlaying().catch(() => this.losePlaying());
  }

  async loadPlaying() {
    const answer = await fetch(this.song.playing);
    if (!answer.ok) throw new Error("no playing");
    const { bars } = await answer.json();
    if (!this.hasOtherMap) this.showResidual(residualOf(bars));
    this.ask();
  }

  losePlaying() {
    if (!this.hasOtherMap) this.showResidual([]);
    this.say("The playing against the grid could not be loaded.");
  }

  async loadOnsets() {
    this.onsets = await Promise.all(this.song.lanes.map(onsetsOf));
    this.transport.attacksS = this.onsets.map((onsets) =>
      onsets.filter((one) => one.strength >= FIRM).map((one) => one.timeS),
    );
    this.ask();
  }

  /** `points` are null while they are on their way: their place is kept, so that nothing moves when they come. */
  showResidual(points) {
    this.residual = points ?? [];
    fillRows(this.part("off-rows"), this.residual);
    for (const part of this.element.querySelectorAll("[data-lanes-off], [data-lanes-residual]"))
      part.hidden = points?.length === 0;
  }

  /** What is heard of each lane. */
  hear(gains) {
    this.gains = gains;
    for (const [at, gain] of gains.entries()) this.transport.setLane(at, gain);
    this.ask();
  }

  /** Ruler, residual and click go by another map from now on. */
  takeMap(map) {
    this.hasOtherMap = true;
    this.transport.takeMap(map);
    this.showResidual(residualOf(map.bars));
    this.ask();
  }

  listen() {
    this.element.addEventListener("click", (event) =>
      this.press(event.target.closest("[data-lanes-do]")?.dataset.lanesDo),
    );
    listenToLevel(
      this.part("level"),
      (value) => value,
      (value) => this.transport.setLevel(value),
    );
    listenToLevel(this.part("click"), levelOfGain, (value) => this.transport.setClick(value));
    listSections(this.part("section"), this.song);
    this.part("section").addEventListener("change", ({ target }) =>
      this.loopBars(target.value ? target.value.split("-") : ["", ""]),
    );
    listenToPointer(this);
    this.element.addEventListener("keydown", (event) => this.key(event));
    this.onGo = (event) => this.show(event.detail);
    document.addEventListener("lanes:go", this.onGo);
    this.onMap = (event) => this.takeMap(event.detail);
    document.addEventListener("lanes:map", this.onMap);
    this.onLane = (event) => this.list.choose(event.detail.id);
    document.addEventListener("lanes:lane", this.onLane);
    this.element.songTimeAt = (momentMs) =>
      this.transport.isPlaying ? this.transport.songTime(this.transport.heardS(momentMs)) : null;
  }

  press(what) {
    const doings = {
      play: () => this.play(),
      stop: () => this.stop(),
      whole: () => this.setView({ startS: 0, endS: this.song.duration_s }),
      closer: () => this.zoom(0.5),
      wider: () => this.zoom(2),
      earlier: () => this.setView(pan(this.view, -0.5 * this.lengthS, this.song.duration_s)),
      later: () => this.setView(pan(this.view, 0.5 * this.lengthS, this.song.duration_s)),
      bar: () => this.toBar(),
      loop: () => this.setLoop(),
      half: () => this.halveSpeed(),
      count: () => this.setCountIn(),
    };
    doings[what]?.();
  }

  get lengthS() {
    return this.view.endS - this.view.startS;
  }

  play() {
    if (!noteTaken()) return showHearingNote(this.element, () => this.play());
    if (this.transport.isPlaying) this.headS = this.transport.pause();
    else {
      if (this.headS > this.song.duration_s - AT_THE_END_S) this.headS = this.transport.loop?.startS ?? 0;
      this.transport.play(this.headS);
      this.follow();
    }
    this.showState();
  }

  lose() {
    this.headS = this.transport.startS;
    this.say("The audio could not be loaded. Try again in a moment: it continues from here.");
    this.showState();
  }

  /** Half as fast at the same pitch, for practice; pressed again, as it is. */
  halveSpeed() {
    const isHalf = this.transport.factor === 1;
    this.element.querySelector('[data-lanes-do="half"]').setAttribute("aria-pressed", String(isHalf));
    this.transport.setSpeed(isHalf ? 0.5 : 1);
    this.say(isHalf ? "Half speed, same pitch." : "Normal speed.");
  }

  /** A bar of clicks before it plays, from the next start on. */
  setCountIn() {
    this.transport.countsIn = !this.transport.countsIn;
    this.element.querySelector('[data-lanes-do="count"]').setAttribute("aria-pressed", String(this.transport.countsIn));
    this.say(this.transport.countsIn ? "Count-in on: one bar." : "Count-in off.");
  }

  stop() {
    this.headS = this.transport.stop();
    this.showState();
    this.ask();
  }

  seek(timeS) {
    this.headS = Math.min(Math.max(0, timeS), this.song.duration_s);
    if (this.transport.isPlaying) this.transport.play(this.headS);
    this.ask();
  }

  toBar() {
    const bar = this.song.bars.find((line) => line.bar === parseNumber(this.part("bar-number").value));
    if (!bar) return this.say("This bar does not exist.");
    this.seekShown(bar.time_s);
  }

  seekShown(timeS) {
    this.seek(timeS);
    if (timeS < this.view.startS || timeS > this.view.endS)
      this.setView(windowAround(timeS, this.lengthS, this.song.duration_s, LEAST_VIEW_S));
  }

  /** The section at the head loops; pressed again, nothing does. */
  loopSection() {
    const bars = this.transport.loop ? ["", ""] : sectionBars(this.song, this.headS);
    if (!bars) return this.say("There is no section here.");
    this.loopBars(bars);
  }

  loopBars(bars) {
    for (const [at, name] of ["loop-from", "loop-to"].entries()) this.part(name).value = bars[at];
    this.setLoop();
  }

  /** From the first to the end of the last of these bars; empty fields end it. */
  setLoop() {
    const [first, last] = ["loop-from", "loop-to"].map((name) => parseNumber(this.part(name).value));
    chooseSection(this.part("section"), first, last);
    const from = this.song.bars.findIndex((line) => line.bar === first);
    const to = this.song.bars.findIndex((line) => line.bar === last);
    const endS = this.song.bars[to + 1]?.time_s ?? this.song.duration_s;
    this.transport.loop = from >= 0 && to >= from ? { startS: this.song.bars[from].time_s, endS } : null;
    this.say(this.transport.loop ? `Looping bars ${first} to ${last}.` : "Loop off.");
    if (this.transport.loop) this.seek(this.transport.loop.startS);
    this.ask();
  }

  showState() {
    const button = this.element.querySelector('[data-lanes-do="play"]');
    button.firstChild.textContent = this.transport.isPlaying ? "❚❚ Pause " : "▶ Play ";
    this.ask();
  }

  follow() {
    if (!this.transport.isPlaying) return;
    this.headS = this.transport.songTime();
    if (this.headS > this.view.endS || this.headS < this.view.startS)
      this.view = windowAround(this.headS + 0.4 * this.lengthS, this.lengthS, this.song.duration_s, LEAST_VIEW_S);
    this.ask();
    requestAnimationFrame(() => this.follow());
  }

  show({ timeS, lengthS = MARK_VIEW_S }) {
    this.setView(windowAround(timeS, lengthS, this.song.duration_s, LEAST_VIEW_S));
    this.seek(timeS);
    this.element.scrollIntoView({ block: "nearest" });
  }

  zoom(factor) {
    this.setView(
      zoomAt(
        this.view,
        this.headS >= this.view.startS && this.headS <= this.view.endS
          ? this.headS
          : (this.view.startS + this.view.endS) / 2,
        factor,
        this.song.duration_s,
        LEAST_VIEW_S,
      ),
    );
  }

  setView(view) {
    this.view = view;
    this.ask();
  }

  timeAt(event) {
    const box = this.canvas.getBoundingClientRect();
    return this.view.startS + ((event.clientX - box.left) / box.width) * this.lengthS;
  }

  key(event) {
    if (event.key === "Escape" && this.transport.isPlaying) return this.taken(event, () => this.stop());
    if (event.target !== this.canvas || event.ctrlKey || event.altKey || event.metaKey) return;
    const step = stepFor(event, this.song, this.headS);
    if (step !== null) return this.taken(event, () => this.seekShown(step));
    if (event.key === "l") return this.taken(event, () => this.loopSection());
    const keys = {
      ArrowLeft: "earlier",
      ArrowRight: "later",
      "+": "closer",
      "=": "closer",
      "-": "wider",
      Home: "whole",
      " ": "play",
      s: "stop",
    };
    if (keys[event.key]) this.taken(event, () => this.press(keys[event.key]));
  }

  taken(event, doing) {
    event.preventDefault();
    doing();
  }

  say(text) {
    this.said.textContent = text;
  }

  /** Draw before the next frame of the screen, once. */
  ask() {
    this.asked ??= requestAnimationFrame(() => {
      this.asked = null;
      this.draw();
    });
  }

  draw() {
    const width = this.canvas.clientWidth;
    if (!width) return;
    const height = heightOf(this.song.lanes.length);
    const ratio = window.devicePixelRatio || 1;
    if (this.canvas.width !== Math.round(width * ratio) || this.canvas.height !== Math.round(height * ratio)) {
      Object.assign(this.canvas, { width: Math.round(width * ratio), height: Math.round(height * ratio) });
      this.canvas.style.height = `${height}px`;
      this.palette = paletteOf(this.canvas);
    }
    const context = this.canvas.getContext("2d");
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    drawLanes(
      context,
      {
        song: this.song,
        sounds: this.sounds,
        onsets: this.onsets,
        gains: this.gains,
        view: this.view,
        headS: this.headS,
        loop: this.transport.loop,
        width,
      },
      this.palette,
    );
    if (this.residual.length)
      drawResidual(this.part("residual"), { points: this.residual, view: this.view, width, ratio }, this.palette);
    this.showWhere(whereText(this.song, this.headS, this.lengthS));
    if (wantsCloseUp(this.view)) this.askCloseUp(width);
    this.tellView();
  }

  /** Words are put in only when they change: each time the page is laid out anew. */
  showWhere(text) {
    const output = this.part("where");
    if (output.textContent !== text) output.textContent = text;
  }

  /** Others on the page go with the lanes' view and head. */
  tellView() {
    const seen = { ...this.view, headS: this.headS };
    if (this.told && Object.keys(seen).every((name) => seen[name] === this.told[name])) return;
    this.told = seen;
    document.dispatchEvent(new CustomEvent("lanes:view", { detail: seen }));
  }

  askCloseUp(width) {
    clearTimeout(this.closeTimer);
    this.closeTimer = setTimeout(async () => {
      const { startS, endS } = this.view;
      const news = await Promise.all(this.sounds.map((sound) => sound.closeUp(startS, endS, width)));
      if (news.some(Boolean)) this.ask();
    }, CLOSE_UP_AFTER_MS);
  }

  leave() {
    this.transport.silence();
    this.observer.disconnect();
    document.removeEventListener("lanes:go", this.onGo);
    document.removeEventListener("lanes:map", this.onMap);
    document.removeEventListener("lanes:lane", this.onLane);
  }
}

attach("[data-lanes]", (element) => {
  let lanes = null;
  fetch(element.dataset.lanesSrc)
    .then((answer) => (answer.ok ? answer.json() : Promise.reject(new Error("no lanes"))))
    .then((found) => {
      lanes = new Lanes(element, found);
      element.lanes = lanes;
    })
    .catch(() => {
      element.dataset.state = "failed";
      element.querySelector("[data-lanes-said]").textContent =
        "The lanes could not be loaded. Reload the page to try again.";
    });
  return () => lanes?.leave();
});
