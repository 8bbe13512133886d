// A song's files as lanes under the bar ruler, played with the click on top.
//
//   <section data-lanes data-lanes-src="URL"> [data-lanes-list] [data-lanes-picture] [data-lanes-bar] … </section>
import { attach } from "kitpost/lib/attach";
import { clearedContext } from "kitpost/lib/canvas";
import { hasModifier } from "kitpost/lib/modifiers";
import { paletteOf } from "kitpost/lib/palette";
import { Sounds } from "kitpost/lanes/sounds";
import { LaneList } from "kitpost/lanes/list";
import { drawLanes, heightOf, wantsCloseUp } from "kitpost/lanes/drawing";
import { noteTaken, showHearingNote } from "kitpost/lib/hearing-note";
import { pan, windowAround, zoomAt } from "kitpost/lib/viewport";
import { Looping } from "kitpost/lanes/looping";
import { Playing } from "kitpost/lanes/playing";
import { LEAST_VIEW_S, listenToPointer } from "kitpost/lanes/pointer";
import { KEYS, stepFor } from "kitpost/lanes/steps";
import { levelOfGain, listenToLevel } from "kitpost/lib/level";
import { whereText } from "kitpost/lanes/where";
import { Transport } from "kitpost/lanes/transport";
import { parseNumber } from "kitpost/lib/parse-number";

const MARK_VIEW_S = 4;
// Played from here it would end at once: it begins again.
const AT_THE_END_S = 0.1;

class Lanes {
  constructor(element, song) {
    this.element = element;
    this.song = song;
    this.sounds = new Sounds(song.lanes, () => this.ask());
    this.playing = new Playing(element, song.playing);
    this.view = { startS: 0, endS: Math.max(song.duration_s, 1) };
    this.headS = 0;
    this.canvas = element.querySelector("canvas");
    this.said = element.querySelector("[data-lanes-said]");
    this.transport = new Transport(song, { onEnd: () => this.showState(), onLost: () => this.lose() });
    this.list = new LaneList(this.part("list"), song.lanes, (gains) => this.hear(gains));
    this.listen();
    this.observer = new ResizeObserver(() => {
      this.palette = null;
      this.ask();
    });
    this.observer.observe(this.canvas);
    element.dataset.state = "drawn";
    this.load();
  }

  part(name) {
    return this.element.querySelector(`[data-lanes-${name}]`);
  }

  /** The pictures first; what takes the server longer comes after them. */
  async load() {
    await this.sounds.loadPictures();
    this.sounds.loadOnsets().then(
      () => (this.transport.attacksS = this.sounds.firmAttacksS),
      () => this.say("The attacks could not be loaded."),
    );
    await this.playing.load().catch((error) => this.say(error.message));
    this.ask();
  }

  /** What is heard of each lane. */
  hear(gains) {
    this.gains = gains;
    for (const [at, gain] of gains.entries()) this.transport.setLane(at, gain);
    this.ask();
  }

  /** Ruler, residual and click go by another map from now on. */
  takeMap(map) {
    this.transport.takeMap(map);
    this.playing.takeBars(map.bars);
    this.ask();
  }

  listen() {
    this.element.addEventListener("click", (event) =>
      this.press(event.target.closest("[data-lanes-do]")?.dataset.lanesDo),
    );
    const asItIs = (levelDb) => levelDb;
    listenToLevel(this.part("level"), asItIs, (levelDb) => this.transport.setLevel(levelDb));
    listenToLevel(this.part("click"), levelOfGain, (value) => this.transport.setClick(value));
    this.looping = new Looping(this);
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
      loop: () => this.looping.set(),
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
    const { startS, endS } = this.view;
    const aroundS = this.headS >= startS && this.headS <= endS ? this.headS : (startS + endS) / 2;
    this.setView(zoomAt(this.view, aroundS, factor, this.song.duration_s, LEAST_VIEW_S));
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
    if (event.target !== this.canvas || hasModifier(event)) return;
    const step = stepFor(event, this.song, this.headS);
    if (step !== null) return this.taken(event, () => this.seekShown(step));
    if (event.key === "l") return this.taken(event, () => this.looping.toggleSection());
    if (KEYS[event.key]) this.taken(event, () => this.press(KEYS[event.key]));
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
    this.canvas.style.height = `${height}px`;
    this.palette ??= paletteOf(this.canvas);
    const context = clearedContext(this.canvas, width, height, ratio);
    drawLanes(context, this.scene(width), this.palette);
    this.playing.draw(this.view, width, ratio, this.palette);
    this.showWhere(whereText(this.song, this.headS, this.lengthS));
    if (wantsCloseUp(this.view)) this.sounds.askCloseUp(this.view, width);
    this.tellView();
  }

  scene(width) {
    const { song, gains, view, headS, transport } = this;
    const { each: sounds, onsets } = this.sounds;
    return { song, sounds, onsets, gains, view, headS, loop: transport.loop, width };
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
