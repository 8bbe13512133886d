// Plays lanes and click from one clock. Sound comes in parts of some seconds as 16-bit PCM, is laid onto whole frames
// of the audio clock ahead of time, and let go afterwards: memory does not grow with the song, and no decoder of a
// browser can shift anything. The same code plays into a speaker or into an OfflineAudioContext.
import { countIn } from "kitpost/lanes/count-in";
import { gainOfLevel, RAMP_MS, START_LEVEL_DB } from "kitpost/lib/level";
import { StretchedLane } from "kitpost/lanes/time-stretch";
import { commonRate, gainInto, graphOf, ramp } from "kitpost/lanes/graph";
import { partOf } from "kitpost/lanes/part";
import { fetchPcm } from "kitpost/lanes/pcm";

export const PART_S = 4;
const AHEAD_S = 9;
const LEAD_S = 0.15;
const WAKE_MS = 200;
// A new map, or a lane put back in, is heard after this time at the earliest.
const SOON_S = 0.05;
// What was laid is remembered this long after it has ended: the way to the ear takes its time.
const KEPT_S = 2;

/** Stretches of song time laid one after the other on the audio clock, from `fromS`, looping in `loop`. */
export function nextStretch(cursor, endS, loop) {
  const stopS = loop && cursor.songS < loop.endS ? loop.endS : endS;
  const lengthS = Math.min(PART_S, stopS - cursor.songS);
  if (!(lengthS > 1e-9)) return null;
  const goesRound = loop && Math.abs(cursor.songS + lengthS - loop.endS) < 1e-9;
  return { songS: cursor.songS, atS: cursor.atS, lengthS, nextSongS: goesRound ? loop.startS : cursor.songS + lengthS };
}

export class Transport {
  constructor(song, { context = null, fetchPart = fetchPcm, onEnd = () => {}, onLost = () => {} } = {}) {
    this.song = song;
    this.context = context;
    this.fetchPart = fetchPart;
    this.onEnd = onEnd;
    this.onLost = onLost;
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
    Object.assign(this, graphOf(this.context, { levels: this.levels, clickLevel: this.clickLevel }));
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
    this.stretched = this.factor === 1 ? null : this.song.lanes.map((_, at) => this.stretchedLane(at));
    // The first sound is at hand before the clock is set: what is still on its way cannot come late.
    const first = await this.parts(nextStretch({ songS: this.startS, atS: 0 }, this.song.duration_s, this.loop));
    if (run !== this.run) return;
    const atS = Math.ceil((this.context.currentTime + LEAD_S) * rateHz) / rateHz;
    this.cursor = { songS: this.startS, atS: this.layCountIn(atS) };
    ramp(this.master.gain, gainOfLevel(this.levelDb), atS);
    await this.fill(run, this.context.currentTime + AHEAD_S, first);
  }

  /** A bar of clicks, if asked for: louder from each to the next, so that none jumps out and the first is heard, and
   *  heard even where the click is turned down. Answers when the song begins, from `atS` on; the music comes up by
   *  itself then. */
  layCountIn(atS) {
    const count = this.countsIn ? countIn(this.song.beats_s, this.startS) : null;
    this.music.gain.cancelScheduledValues(0);
    this.music.gain.value = 1;
    if (!count) return atS;
    const rateHz = this.context.sampleRate;
    const framesOf = (timeS) => Math.round(timeS * rateHz);
    const songAt = framesOf(atS + RAMP_MS / 1000) + framesOf(count.lengthS * this.factor);
    for (const [at, { beforeS, accent }] of count.clicks.entries()) {
      const into = gainInto(this.context, this.master, ((at + 1) / count.clicks.length) * (this.clickLevel || 1));
      this.start(this.clicks[accent ? 0 : 1], into, (songAt - framesOf(beforeS * this.factor)) / rateHz);
    }
    ramp(this.music.gain, 1, songAt / rateHz);
    return songAt / rateHz;
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
    const rateHz = this.context.sampleRate;
    this.cursor = {
      songS: this.onFrame(stretch.nextSongS),
      atS: Math.round((stretch.atS + stretch.lengthS * this.factor) * rateHz) / rateHz,
    };
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
    const span = { ...stretch, laid: new Set() };
    this.spans.push(span);
    // What has been heard is let go; in a short round many spans are on their way.
    const heardS = this.context.currentTime - KEPT_S;
    this.spans = this.spans.filter((one) => one.atS + one.lengthS * this.factor > heardS);
    for (const [at, part] of parts.entries()) {
      if (!part) continue;
      span.laid.add(at);
      this.start(part.sound, this.gains[at], span.atS + part.offsetS);
    }
    this.layClicks(span);
    // Put back in while this was on its way: it was not fetched with the others.
    for (const [at, level] of this.levels.entries()) if (level > 0 && !parts[at] && this.isPlaying) this.catchUp(at);
  }

  /** A lane put back in is fetched for what is laid already: lanes that nobody hears are not. */
  async catchUp(at) {
    const run = this.run;
    const stretched = this.stretched && this.stretchedLane(at);
    const soonS = this.context.currentTime + SOON_S;
    const isToCome = (one) => !one.laid.has(at) && one.atS + one.lengthS * this.factor > soonS;
    for (const span of this.spans.filter(isToCome)) {
      span.laid.add(at);
      const part = await this.part(at, span, stretched).catch(() => null);
      if (run !== this.run) return;
      if (part) this.start(part.sound, this.gains[at], span.atS + part.offsetS);
    }
  }

  stretchedLane(at) {
    return new StretchedLane({
      rateHz: this.song.lanes[at].sample_rate_hz,
      factor: this.factor,
      attacksS: this.attacksS[at],
    });
  }

  /** Another tempo map: what sounds already stays, the clicks that are still to come lie on the new one. */
  takeMap({ bars, beats_s: beatsS }) {
    Object.assign(this.song, { bars, beats_s: beatsS });
    if (!this.isPlaying || !this.clickGain) return;
    const fromS = this.context.currentTime + SOON_S;
    for (const [source, atS] of this.clickSources) if (atS > fromS) source.stop();
    for (const span of this.spans) this.layClicks(span, fromS);
  }

  part(at, stretch, stretched = this.stretched?.[at]) {
    const { context, fetchPart, factor } = this;
    return partOf(this.song.lanes[at], stretch, { context, fetchPart, factor, stretched });
  }

  /** Each at the frame of the song that lies nearest to its exact time, as in the files. */
  layClicks({ songS, lengthS, atS }, fromS = 0) {
    const rateHz = this.context.sampleRate;
    const [first, end] = [Math.round(songS * rateHz), Math.round((songS + lengthS) * rateHz)];
    for (const [beatS, accent] of this.song.beats_s) {
      const frame = Math.round(beatS * rateHz);
      if (frame < first) continue;
      if (frame >= end) break;
      const startS = (Math.round(atS * rateHz) + Math.round((frame - first) * this.factor)) / rateHz;
      if (startS < fromS) continue;
      const source = this.start(this.clicks[accent ? 0 : 1], this.clickGain, startS);
      if (source) this.clickSources.set(source, startS);
    }
  }

  start(sound, into, atS) {
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
    const span = this.spans.findLast((one) => one.atS <= atS) ?? this.spans[0];
    return span.songS + Math.min(Math.max(0, atS - span.atS) / this.factor, span.lengthS);
  }

  heardS(momentMs = performance.now()) {
    const { contextTime, performanceTime } = this.context.getOutputTimestamp?.() ?? {};
    if (performanceTime > 0) return contextTime + (momentMs - performanceTime) / 1000;
    return this.context.currentTime - (this.context.outputLatency || 0);
  }

  setLevel(levelDb) {
    this.levelDb = levelDb;
    this.master?.gain.setTargetAtTime(gainOfLevel(levelDb), this.context.currentTime, 0.03);
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
