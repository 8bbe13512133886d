// Plays lanes and click from one clock. Sound comes in parts of some seconds as 16-bit PCM, is laid onto whole frames
// of the audio clock ahead of time, and let go afterwards: memory does not grow with the song, and no decoder of a
// browser can shift anything. The same code plays into a speaker or into an OfflineAudioContext.
import { clickAddress, clickBuffers, fetchClicks } from "kitpost/lanes/click-sounds";
import { layClicks, layCountIn } from "kitpost/lanes/clicks";
import { commonRate, graphOf, ramp } from "kitpost/lanes/graph";
import { partOf } from "kitpost/lanes/part";
import { fetchPcm } from "kitpost/lanes/pcm";
import { endOf, nextStretch, songTimeAt, spanAt } from "kitpost/lanes/spans";
import { StretchedLane } from "kitpost/lanes/time-stretch";
import { gainOfLevel, RAMP_MS, START_LEVEL_DB } from "kitpost/lib/level";

const AHEAD_S = 9;
const LEAD_S = 0.15;
const WAKE_MS = 200;
// A new map, or a lane put back in, is heard after this time at the earliest.
const SOON_S = 0.05;
// What was laid is remembered this long after it has ended: the way to the ear takes its time.
const KEPT_S = 2;

const quiet = () => {};
const USUAL = { context: null, fetchPart: fetchPcm, fetchClicks, makeGraph: graphOf };
const HEARERS = { onEnd: quiet, onLost: quiet, onRound: quiet };

export class Transport {
  /** `onRound` is called when a round of the loop is laid, some seconds before it ends; the speed that it answers, if
   *  any, holds from the next round on. */
  constructor(song, options = {}) {
    this.song = song;
    Object.assign(this, USUAL, HEARERS, options);
    // [seconds, on a bar line, between beats]; the song's beats unless something else is clicked.
    this.clickTimes = null;
    this.levels = song.lanes.map(() => 1);
    this.clickLevel = 1;
    this.levelDb = START_LEVEL_DB;
    this.loop = null;
    this.spans = [];
    this.sources = new Set();
    this.clickSources = new Map();
    this.attacksS = song.lanes.map(() => []);
    this.factor = 1;
    this.countsIn = false;
    this.isPlaying = false;
    this.run = 0;
  }

  build() {
    this.context ??= new AudioContext({ sampleRate: commonRate(this.song.lanes), latencyHint: "playback" });
    Object.assign(this, this.makeGraph(this.context, { levels: this.levels, clickLevel: this.clickLevel }));
  }

  /** Sound that cannot be fetched, now or later, ends the playing and is told to `onLost`. */
  async play(fromS) {
    if (!this.master) this.build();
    this.silence();
    const run = ++this.run;
    this.isPlaying = true;
    this.startS = this.onFrame(Math.min(Math.max(0, fromS), Math.max(0, this.song.duration_s - 0.01)));
    this.spans = [];
    try {
      await this.begin(run);
    } catch (error) {
      this.lose(run, error);
    }
  }

  async begin(run) {
    await this.context.resume?.();
    if (run !== this.run) return;
    const rateHz = this.context.sampleRate;
    this.stretchFor(this.factor);
    // The first sound is at hand before the clock is set: what is still on its way cannot come late.
    const stretch = nextStretch({ songS: this.startS, atS: 0 }, this.song.duration_s, this.loop);
    const [first] = await Promise.all([this.parts(stretch), this.loadClicks()]);
    if (run !== this.run) return;
    const atS = Math.ceil((this.context.currentTime + LEAD_S) * rateHz) / rateHz;
    this.cursor = { songS: this.startS, atS: layCountIn(this, atS) };
    this.rampAtS = atS;
    ramp(this.master.gain, gainOfLevel(this.levelDb), atS);
    await this.fill(run, this.context.currentTime + AHEAD_S, first);
  }

  /** Once: a context has one rate. Without an answer there are no clicks, until the next time it plays. */
  async loadClicks() {
    const { context } = this;
    if (this.clicks?.[0].sampleRate === context.sampleRate) return;
    const samples = await this.fetchClicks(clickAddress(this.song, context.sampleRate));
    this.clicks = samples && clickBuffers(context, samples);
  }

  /** Stretches begin on whole frames of the song too: then music and click are off by no part of a frame. */
  onFrame(timeS) {
    return Math.round(timeS * this.context.sampleRate) / this.context.sampleRate;
  }

  /** Lay what is due; called again by itself while playing. `untilS`: of the audio clock. */
  async fill(run, untilS = this.context.currentTime + AHEAD_S, first = null) {
    let ready = first;
    while (this.isDue(run, untilS)) {
      const stretch = nextStretch(this.cursor, this.song.duration_s, this.loop);
      if (!stretch) break;
      const parts = ready ?? (await this.parts(stretch));
      ready = null;
      if (run !== this.run) return;
      this.lay(stretch, parts);
      this.advance(stretch);
    }
    if (run === this.run) this.wait(run);
  }

  isDue(run, untilS) {
    return run === this.run && Boolean(this.cursor) && this.cursor.atS < untilS;
  }

  /** The next stretch begins on a whole frame, so that nothing is added up but whole frames. */
  advance(stretch) {
    this.cursor = {
      songS: this.onFrame(stretch.nextSongS),
      atS: this.onFrame(endOf({ ...stretch, factor: this.factor })),
    };
    if (!stretch.isRound) return;
    const speed = this.onRound();
    if (speed && 1 / speed !== this.factor) this.stretchFor(1 / speed);
  }

  stretchFor(factor) {
    this.factor = factor;
    this.stretched = factor === 1 ? null : this.song.lanes.map((_, at) => this.stretchedLane(at, factor));
  }

  wait(run) {
    if (this.context instanceof OfflineAudioContext) return;
    if (this.cursor && this.cursor.songS >= this.song.duration_s && this.context.currentTime > this.cursor.atS)
      this.end();
    else this.timer = setTimeout(() => this.fill(run).catch((error) => this.lose(run, error)), WAKE_MS);
  }

  parts(stretch) {
    return Promise.all(this.song.lanes.map((_, at) => (this.levels[at] > 0 ? this.part(at, stretch) : null)));
  }

  lay(stretch, parts) {
    const span = { ...stretch, factor: this.factor, laid: new Set() };
    this.spans.push(span);
    // What has been heard is let go; in a short round many spans are on their way.
    const heardS = this.context.currentTime - KEPT_S;
    this.spans = this.spans.filter((one) => endOf(one) > heardS);
    for (const [at, part] of parts.entries()) {
      if (!part) continue;
      span.laid.add(at);
      this.start(part.sound, this.gains[at], span.atS + part.offsetS);
    }
    layClicks(this, span);
    // Put back in while this was on its way: it was not fetched with the others.
    for (const [at, level] of this.levels.entries()) if (level > 0 && !parts[at] && this.isPlaying) this.catchUp(at);
  }

  /** A lane put back in is fetched for what is laid already: lanes that nobody hears are not. */
  async catchUp(at) {
    const run = this.run;
    const soonS = this.context.currentTime + SOON_S;
    const isToCome = (one) => !one.laid.has(at) && endOf(one) > soonS;
    let stretched = null;
    for (const span of this.spans.filter(isToCome)) {
      span.laid.add(at);
      if (stretched?.factor !== span.factor) stretched = this.stretchedLane(at, span.factor);
      const part = await this.part(at, span, span.factor === 1 ? null : stretched).catch(() => null);
      if (run !== this.run) return;
      if (part) this.start(part.sound, this.gains[at], span.atS + part.offsetS);
    }
  }

  stretchedLane(at, factor) {
    return new StretchedLane({ rateHz: this.song.lanes[at].sample_rate_hz, factor, attacksS: this.attacksS[at] });
  }

  /** Another tempo map: what sounds already stays, the clicks that are still to come lie on the new one. */
  takeMap({ bars, beats_s: beatsS }) {
    Object.assign(this.song, { bars, beats_s: beatsS });
    this.layClicksAnew();
  }

  /** Other clicks on the same map: those that are still to come give way to them. */
  setClicks(clickTimes) {
    this.clickTimes = clickTimes;
    this.layClicksAnew();
  }

  layClicksAnew() {
    if (!this.isPlaying || !this.clickGain) return;
    const fromS = this.context.currentTime + SOON_S;
    for (const [source, atS] of this.clickSources) if (atS > fromS) source.stop();
    for (const span of this.spans) layClicks(this, span, fromS);
  }

  part(at, stretch, stretched = this.stretched?.[at]) {
    const { context, fetchPart } = this;
    const factor = stretch.factor ?? this.factor;
    return partOf(this.song.lanes[at], stretch, { context, fetchPart, factor, stretched });
  }

  start(sound, into, atS) {
    if (!sound) return null;
    const source = this.context.createBufferSource();
    source.buffer = sound;
    source.connect(into);
    const late = Math.max(0, this.context.currentTime - atS);
    if (late >= sound.duration) return null;
    source.start(atS + late, late);
    this.sources.add(source);
    source.onended = () => {
      this.sources.delete(source);
      this.clickSources.delete(source);
    };
    return source;
  }

  /** Silence at once, and back to where playing began. */
  stop() {
    this.silence();
    return this.startS ?? 0;
  }

  pause() {
    const songS = this.songTime();
    this.silence();
    return songS;
  }

  silence() {
    this.run++;
    this.isPlaying = false;
    clearTimeout(this.timer);
    for (const source of this.sources) source.stop();
    this.sources.clear();
    this.cursor = null;
    this.count = null;
  }

  end() {
    this.silence();
    this.onEnd();
  }

  lose(run, error) {
    if (run !== this.run) return;
    this.startS = this.songTime();
    this.silence();
    this.onLost(error);
  }

  /** Song time that is heard at an audio-clock time (now, less what the way to the ear takes); null while silent. */
  songTime(atS = this.heardS()) {
    if (!this.isPlaying || !this.spans.length) return this.startS ?? 0;
    return songTimeAt(this.spans, atS);
  }

  /** Its speed at that time, which steps up by itself in practice. */
  speedAt(atS = this.heardS()) {
    return 1 / (this.isPlaying && this.spans.length ? spanAt(this.spans, atS).factor : this.factor);
  }

  heardS(momentMs = performance.now()) {
    const { contextTime, performanceTime } = this.context.getOutputTimestamp?.() ?? {};
    if (performanceTime > 0) return contextTime + (momentMs - performanceTime) / 1000;
    return this.context.currentTime - (this.context.outputLatency || 0);
  }

  setLevel(levelDb) {
    this.levelDb = levelDb;
    if (!this.master) return;
    // While it comes up from silence, it comes up to the new level.
    if (this.context.currentTime < this.rampAtS + RAMP_MS / 1000)
      ramp(this.master.gain, gainOfLevel(levelDb), this.rampAtS);
    else this.master.gain.setTargetAtTime(gainOfLevel(levelDb), this.context.currentTime, 0.03);
  }

  /** 1 as it is, 0.5 half as fast; the pitch stays. From here on, if it plays. */
  setSpeed(speed) {
    const songS = this.isPlaying ? this.songTime() : null;
    this.factor = 1 / speed;
    if (songS !== null) return this.play(songS);
  }

  setLane(at, value) {
    const isBack = value > 0 && !(this.levels[at] > 0);
    this.levels[at] = value;
    this.gains?.[at].gain.setTargetAtTime(value, this.context.currentTime, 0.015);
    if (isBack && this.isPlaying && this.gains) this.catchUp(at);
  }

  setClick(value) {
    this.clickLevel = value;
    this.clickGain?.gain.setTargetAtTime(value, this.context.currentTime, 0.015);
  }
}
