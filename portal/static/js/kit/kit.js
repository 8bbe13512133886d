// The page at the kit: plays a song with its click, shows where it is, and logs takes.
//
//   <section data-kit> … [data-kit-NAME] parts, [data-kit-do=NAME] buttons … </section>
import { Balance } from "kitpost/kit/balance";
import { KitChart } from "kitpost/kit/chart";
import { barAfter, formOf, topOf, whereAt } from "kitpost/kit/form";
import { kitGraph } from "kitpost/kit/graph";
import { Keys } from "kitpost/kit/keys";
import { Logbook } from "kitpost/kit/logbook";
import { countOf, Outputs } from "kitpost/kit/outputs";
import { Picture } from "kitpost/kit/picture";
import { Practice } from "kitpost/kit/practice";
import { Sliders } from "kitpost/kit/sliders";
import { KeptSounds } from "kitpost/kit/sounds";
import { Takes } from "kitpost/kit/takes";
import { TouchLock } from "kitpost/kit/touch";
import { wordsFor } from "kitpost/kit/words";
import { clickAddress } from "kitpost/lanes/click-sounds";
import { countedAt } from "kitpost/lanes/count-in";
import { commonRate } from "kitpost/lanes/graph";
import { Transport } from "kitpost/lanes/transport";
import { noteTaken, showHearingNote } from "kitpost/lib/hearing-note";

const LOST = "The sound could not be loaded. Press play to go on from here.";
const DEVICE_PATIENCE_MS = 1500;
const NO_DEVICE = "The sound device gave an error. Look at the device, then press play again.";

export class Kit {
  /** `sounds`: the name of the song's cache on this device. */
  constructor(element, song, sounds) {
    this.element = element;
    this.song = song;
    this.form = formOf(song);
    this.headS = topOf(song);
    this.sounds = new KeptSounds(sounds);
    this.outputs = new Outputs();
    this.transport = new Transport(song, {
      fetchPart: this.sounds.fetchPart,
      fetchClicks: this.sounds.fetchClicks,
      makeGraph: (context, given) => this.makeGraph(context, given),
      onEnd: () => this.ended(topOf(song), "The end of the song."),
      onLost: () => this.ended(this.transport.startS, LOST),
    });
    this.balance = new Balance(song, this.outputs, (gains) => this.hear(gains));
    this.sliders = new Sliders(this);
    this.picture = new Picture(this.part, (at) => this.seek(this.form[at].startS));
    this.picture.showForm(this.form, whereAt(song, this.form, (song.bars[0]?.time_s ?? 0) + 1e-4));
    this.chart = new KitChart(this.part, song.chart?.pages ?? []);
    this.practice = new Practice(this);
    this.takes = new Takes(song, () => this.logbook.show());
    this.logbook = new Logbook(this);
    this.touch = new TouchLock(element, this.say);
    this.keys = new Keys(element, (what) => this.press(what));
    element.addEventListener("click", (event) => this.click(event));
    this.show();
  }

  part = (name) => this.element.querySelector(`[data-kit-${name}]`);

  say = (text) => (this.part("said").textContent = text);

  async begin() {
    this.sounds.fetchClicks(clickAddress(this.song, commonRate(this.song.lanes)));
    this.sounds.attacks(this.song.lanes).then((attacks) => (this.transport.attacksS = attacks));
    await this.balance.begin();
    this.sliders.show();
    await this.takes.begin();
  }

  press(what) {
    const doings = {
      top: () => this.play(topOf(this.song)),
      section: () => this.play(this.sectionStartS()),
      play: () => (this.transport.isPlaying ? this.stop() : this.play(this.headS)),
      stop: () => this.stop(),
      loop: () => this.practice.toggleLoop(this.nowS),
      slower: () => this.practice.step(-1),
      faster: () => this.practice.step(1),
      louder: () => this.sliders.stepClick(1),
      softer: () => this.sliders.stepClick(-1),
      take: () => this.logbook.press("log"),
      keep: () => this.logbook.press("keep"),
      word: () => this.logbook.press("openWord"),
      undo: () => this.logbook.press("undo"),
      back: () => this.stepSection(-1),
      on: () => this.stepSection(1),
      count: () => this.practice.cycleCountIn(),
      parts: () => this.practice.cycleParts(),
      silence: () => this.practice.cyclePattern(),
      steps: () => this.practice.toggleEvery(),
      lock: () => this.touch.toggle(),
      chart: () => this.chart.toggle(),
    };
    doings[what]?.();
  }

  /** A button that was clicked by a pointer leaves the focus, so that Space is the page's again. */
  click(event) {
    const button = event.target.closest("[data-kit-do]");
    if (!button) return;
    if (event.detail) button.blur();
    this.press(button.dataset.kitDo);
  }

  get nowS() {
    return this.transport.isPlaying ? this.transport.songTime() : this.headS;
  }

  /** Where the section begins in which playing was, or was stopped. */
  sectionStartS() {
    const section = this.form.findLast((one) => one.startS <= this.nowS + 1e-3);
    return section?.startS ?? topOf(this.song);
  }

  /** What a take is said of: the section in which playing last began, and how fast it is played. */
  get played() {
    const { beganS, form } = this;
    const began = beganS === undefined ? null : (form.findLast((one) => one.startS <= beganS + 1e-3) ?? form[0]);
    return { section: began?.label ?? "", speed_percent: Math.round(this.practice.speed * 100) };
  }

  stepSection(by) {
    const at = this.form.findLastIndex((one) => one.startS <= this.nowS + 1e-3);
    const section = this.form[Math.min(Math.max(at + by, 0), this.form.length - 1)];
    if (section) this.seek(section.startS);
  }

  async play(songS) {
    if (!noteTaken()) return showHearingNote(this.element, () => this.play(songS));
    this.headS = this.beganS = songS;
    await this.openDevice();
    this.say("");
    this.sounds.missing.clear();
    await this.transport.play(songS);
    if (this.sounds.missing.size) this.say(`Not on this device: ${[...this.sounds.missing].join(", ")}.`);
    this.follow();
  }

  /** The audio context is made by the first press: nothing can sound before it. A device that has other outputs than
   *  it had gets a new graph. */
  async openDevice() {
    const { transport, song, outputs } = this;
    if (transport.context && outputs.count === countOf(transport.context)) return;
    transport.context ??= new AudioContext({ sampleRate: commonRate(song.lanes), latencyHint: "balanced" });
    transport.context.onerror = () => setTimeout(() => this.loseDevice(), DEVICE_PATIENCE_MS);
    this.sliders.tellOutputs(await outputs.use(transport.context));
    transport.master = null;
    this.sliders.showRoutes();
  }

  /** After an error the browser may go on by itself. Where it does not, the next press of play opens the device. */
  loseDevice() {
    if (this.transport.context?.state === "running" || !this.transport.isPlaying) return;
    const songS = this.nowS;
    this.transport.silence();
    this.transport.context.close().catch(() => {});
    this.transport.context = null;
    this.ended(songS, NO_DEVICE);
  }

  makeGraph(context, given) {
    this.graph?.leave();
    const { mono } = this.balance.levels;
    const { ceilingDb } = this.balance;
    const pairs = this.outputs.pairs(this.song.lanes);
    return (this.graph = kitGraph(context, given, { count: this.outputs.count, ...pairs, mono, ceilingDb }));
  }

  /** What changes how sound flows: it goes on where it was, through a new graph. */
  rebuild = async (change) => {
    const { transport } = this;
    const { isPlaying } = transport;
    if (isPlaying) this.headS = transport.pause();
    change();
    transport.master = null;
    if (transport.context) this.sliders.tellOutputs(await this.outputs.use(transport.context));
    this.balance.tell();
    this.sliders.showRoutes();
    if (isPlaying) this.play(this.headS);
  };

  hear({ click, lanes, levelDb, heldDb }) {
    const { transport } = this;
    transport.setLevel(levelDb);
    transport.setClick(click);
    for (const [at, gain] of lanes.entries()) transport.setLane(at, gain);
    this.sliders?.showHeld(heldDb);
  }

  stop() {
    if (this.transport.isPlaying) this.headS = this.transport.pause();
    this.onStop?.();
    this.show();
  }

  ended(songS, text) {
    this.headS = songS;
    this.say(text);
    this.onStop?.();
    this.show();
  }

  seek(songS) {
    this.headS = songS;
    if (this.transport.isPlaying) this.play(songS);
    this.show();
  }

  /** From where it is, without counting in again. */
  async setSpeed(speed) {
    const { transport } = this;
    transport.countsIn = 0;
    await transport.setSpeed(speed);
    transport.countsIn = this.practice.countIn;
  }

  follow() {
    this.show();
    if (this.transport.isPlaying) requestAnimationFrame(() => this.follow());
  }

  show() {
    const { transport } = this;
    const where = whereAt(this.song, this.form, this.nowS + 1e-4);
    this.picture.show(where, transport.isPlaying ? transport.speedAt() : this.practice.speed);
    if (transport.isPlaying && transport.count) this.showCount();
    this.showChart(where?.bar ?? null);
    this.element.dataset.playing = String(transport.isPlaying);
    this.showSection(where?.section ?? -1);
  }

  showChart(bar) {
    const { isPlaying, loop } = this.transport;
    this.chart.show(bar, isPlaying ? barAfter(this.song, bar, loop) : bar);
  }

  showSection(at) {
    if (this.sectionShown === at) return;
    this.sectionShown = at;
    this.showWords(this.form[at] ?? null);
  }

  showCount() {
    const count = countedAt(this.transport.count, this.transport.heardS());
    if (count) this.picture.showCount(count);
  }

  showWords(section) {
    const { whole, here } = wordsFor(this.song.words, section);
    const lines = (words, name) =>
      words.map((text) => Object.assign(document.createElement("p"), { textContent: text, className: name }));
    const none = lines(["The client wrote nothing for this song."], "none");
    const all = [...lines(here, "here"), ...lines(whole, "")];
    this.part("words").replaceChildren(...(all.length ? all : none));
  }

  leave() {
    this.transport.silence();
    this.keys.leave();
    this.chart.leave();
  }
}
