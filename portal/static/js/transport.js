// Plays lanes and click from one clock. Sound comes in parts of some seconds as 16-bit words, is laid onto whole frames of
// the audio clock ahead of time, and let go afterwards: memory does not grow with the song, and no decoder of a browser can
// shift anything. The same code plays into a speaker or into an OfflineAudioContext.
import { gainOfLevel, RAMP_MS, START_LEVEL_DB } from "kitpost/level";

export const PART_S = 4;
const AHEAD_S = 9;
const LEAD_S = 0.15;
const WAKE_MS = 200;
// Hard ceiling of everything together, as a share of full scale: -1 dBFS.
const CEILING = 10 ** (-1 / 20);
const CLICK = { accentHz: 1600, beatHz: 1000, beatDb: -5, decayS: 0.012, soundS: 0.06, fadeS: 0.004, peakDb: -12 };

/** A click's samples: a short decaying sine that sounds from its first sample on, as in the prepared click. */
export function clickSamples(isAccent, rateHz) {
  const frames = Math.floor(CLICK.soundS * rateHz);
  const samples = new Float32Array(frames);
  const pitchHz = isAccent ? CLICK.accentHz : CLICK.beatHz;
  let peak = 0;
  for (let frame = 0; frame < frames; frame++) {
    const timeS = (frame + 0.5) / rateHz;
    samples[frame] = Math.sin(2 * Math.PI * pitchHz * timeS) * Math.exp(-timeS / CLICK.decayS) * Math.min(1, (CLICK.soundS - timeS) / CLICK.fadeS);
    peak = Math.max(peak, Math.abs(samples[frame]));
  }
  const level = 10 ** ((CLICK.peakDb + (isAccent ? 0 : CLICK.beatDb)) / 20) / peak;
  return samples.map((sample) => sample * level);
}

/** 16-bit words, channels interleaved, to one Float32Array a channel. */
export function channelsOf(words, channels) {
  const frames = Math.floor(words.length / channels);
  return Array.from({ length: channels }, (_, channel) => {
    const samples = new Float32Array(frames);
    for (let frame = 0; frame < frames; frame++) samples[frame] = words[frame * channels + channel] / 32768;
    return samples;
  });
}

/** Stretches of song time laid one after the other on the audio clock, from `fromS`, going round in `loop`. */
export function nextStretch(cursor, endS, loop) {
  const stopS = loop && cursor.songS < loop.endS ? loop.endS : endS;
  const lengthS = Math.min(PART_S, stopS - cursor.songS);
  if (!(lengthS > 1e-9)) return null;
  const goesRound = loop && Math.abs(cursor.songS + lengthS - loop.endS) < 1e-9;
  return { songS: cursor.songS, atS: cursor.atS, lengthS, nextSongS: goesRound ? loop.startS : cursor.songS + lengthS };
}

export class Transport {
  constructor(score, { context = null, fetchPart = fetchWords, onEnd = () => {} } = {}) {
    this.score = score;
    this.context = context;
    this.fetchPart = fetchPart;
    this.onEnd = onEnd;
    this.levels = score.lanes.map(() => 1);
    this.clickLevel = 1;
    this.levelDb = START_LEVEL_DB;
    this.loop = null;
    this.spans = [];
    this.sources = new Set();
    this.isPlaying = false;
    this.run = 0;
  }

  /** The graph: lanes and click into one gain, and under the ceiling. */
  build() {
    this.context ??= new AudioContext({ sampleRate: commonRate(this.score.lanes), latencyHint: "playback" });
    const { context } = this;
    this.master = context.createGain();
    this.master.gain.value = 0;
    const ceiling = context.createWaveShaper();
    ceiling.curve = Float32Array.from({ length: 4097 }, (_, at) => Math.max(-CEILING, Math.min(CEILING, at / 2048 - 1)));
    this.master.connect(ceiling).connect(context.destination);
    this.gains = this.score.lanes.map((_, at) => this.gain(this.levels[at]));
    this.clickGain = this.gain(this.clickLevel);
    this.clicks = [true, false].map((isAccent) => {
      const samples = clickSamples(isAccent, context.sampleRate);
      const sound = context.createBuffer(1, samples.length, context.sampleRate);
      sound.copyToChannel(samples, 0);
      return sound;
    });
  }

  gain(value) {
    const node = this.context.createGain();
    node.gain.value = value;
    node.connect(this.master);
    return node;
  }

  get durationS() {
    return this.score.duration_s;
  }

  async play(fromS) {
    if (!this.master) this.build();
    this.silence();
    const run = ++this.run;
    this.isPlaying = true;
    await this.context.resume?.();
    if (run !== this.run) return;
    const rateHz = this.context.sampleRate;
    this.startS = this.onFrame(Math.min(Math.max(0, fromS), Math.max(0, this.durationS - 0.01)));
    this.spans = [];
    // The first sound is at hand before the clock is set: what is still on its way cannot come late.
    const first = await this.parts(nextStretch({ songS: this.startS, atS: 0 }, this.durationS, this.loop));
    if (run !== this.run) return;
    this.cursor = { songS: this.startS, atS: Math.ceil((this.context.currentTime + LEAD_S) * rateHz) / rateHz };
    this.rampFrom(this.cursor.atS);
    await this.fill(run, this.context.currentTime + AHEAD_S, first);
  }

  /** Stretches begin on whole frames of the song too: then music and click are off by no part of a frame. */
  onFrame(timeS) {
    return Math.round(timeS * this.context.sampleRate) / this.context.sampleRate;
  }

  /** Quiet at first, and up over the ramp's time. */
  rampFrom(atS) {
    const { gain } = this.master;
    gain.cancelScheduledValues(0);
    gain.setValueAtTime(0, atS);
    gain.linearRampToValueAtTime(gainOfLevel(this.levelDb), atS + RAMP_MS / 1000);
  }

  /** Lay what is due; called again by itself while playing. `untilS`: of the audio clock. */
  async fill(run = this.run, untilS = this.context.currentTime + AHEAD_S, first = null) {
    let ready = first;
    while (run === this.run && this.cursor && this.cursor.atS < untilS) {
      const stretch = nextStretch(this.cursor, this.durationS, this.loop);
      if (!stretch) break;
      const parts = ready ?? (await this.parts(stretch));
      ready = null;
      if (run !== this.run) return;
      this.lay(stretch, parts);
      const rateHz = this.context.sampleRate;
      // The next stretch begins on a whole frame, so that nothing is added up but whole frames.
      this.cursor = { songS: this.onFrame(stretch.nextSongS), atS: Math.round((stretch.atS + stretch.lengthS) * rateHz) / rateHz };
    }
    if (run !== this.run || this.context instanceof OfflineAudioContext) return;
    if (this.cursor && this.cursor.songS >= this.durationS && this.context.currentTime > this.cursor.atS) return this.end();
    this.timer = setTimeout(() => this.fill(run), WAKE_MS);
  }

  parts(stretch) {
    return Promise.all(this.score.lanes.map((lane) => this.part(lane, stretch)));
  }

  lay(stretch, parts) {
    this.spans.push(stretch);
    if (this.spans.length > 16) this.spans.shift();
    for (const [at, part] of parts.entries()) if (part) this.start(part.sound, this.gains[at], stretch.atS + part.offsetS);
    this.layClicks(stretch);
  }

  async part(lane, { songS, lengthS }) {
    if (!lane.sound || songS >= lane.frames / lane.sample_rate_hz) return null;
    const rateHz = lane.sample_rate_hz;
    const first = Math.round(songS * rateHz);
    const frames = Math.min(Math.round((songS + lengthS) * rateHz), lane.frames) - first;
    if (frames <= 0) return null;
    const got = await this.fetchPart(lane, first, frames);
    if (!got) return null;
    const channels = channelsOf(got.words, got.channels);
    const sound = this.context.createBuffer(channels.length, channels[0].length, rateHz);
    for (const [channel, samples] of channels.entries()) sound.copyToChannel(samples, channel);
    return { sound, offsetS: first / rateHz - songS };
  }

  /** Each at the frame of the song that lies nearest to its exact time, as in the files. */
  layClicks({ songS, lengthS, atS }) {
    const rateHz = this.context.sampleRate;
    const [first, end] = [Math.round(songS * rateHz), Math.round((songS + lengthS) * rateHz)];
    for (const [beatS, accent] of this.score.beats_s) {
      const frame = Math.round(beatS * rateHz);
      if (frame < first) continue;
      if (frame >= end) break;
      this.start(this.clicks[accent ? 0 : 1], this.clickGain, (Math.round(atS * rateHz) + frame - first) / rateHz);
    }
  }

  start(sound, into, atS) {
    const source = this.context.createBufferSource();
    source.buffer = sound;
    source.connect(into);
    const late = Math.max(0, this.context.currentTime - atS);
    if (late >= sound.duration) return;
    source.start(atS + late, late);
    this.sources.add(source);
    source.onended = () => this.sources.delete(source);
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

  /** Song time that is heard at an audio-clock time (now, less what the way to the ear takes); null while silent. */
  songTime(atS = this.heardS()) {
    if (!this.isPlaying || !this.spans.length) return this.startS ?? 0;
    const span = this.spans.findLast((one) => one.atS <= atS) ?? this.spans[0];
    return span.songS + Math.min(Math.max(0, atS - span.atS), span.lengthS);
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

  setLane(at, value) {
    this.levels[at] = value;
    this.gains?.[at].gain.setTargetAtTime(value, this.context.currentTime, 0.015);
  }

  setClick(value) {
    this.clickLevel = value;
    this.clickGain?.gain.setTargetAtTime(value, this.context.currentTime, 0.015);
  }
}

/** The rate that most lanes have: they are played without being resampled. */
export function commonRate(lanes) {
  const counts = new Map();
  for (const { sample_rate_hz: rateHz } of lanes) if (rateHz >= 8000 && rateHz <= 96000) counts.set(rateHz, (counts.get(rateHz) ?? 0) + 1);
  return [...counts].sort((a, b) => b[1] - a[1])[0]?.[0] ?? 48000;
}

async function fetchWords(lane, start, frames) {
  const answer = await fetch(`${lane.sound}?start=${start}&frames=${frames}`);
  if (!answer.ok) return null;
  return { words: new Int16Array(await answer.arrayBuffer()), channels: Number(answer.headers.get("X-Channels")) || 1 };
}
