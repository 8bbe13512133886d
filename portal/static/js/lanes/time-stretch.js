// Sound at a slower speed with its pitch kept. The output is made of runs of the sound as it is, laid one after the
// other with short crossfades where they fit each other best (waveform similarity overlap-add); attacks are fixed
// points: each one is heard whole, once, and to the frame where its time says. Nothing here touches the page.

// One run of sound as it is; the run that begins with an attack is twice as long.
const RUN_S = 0.03;
const FADE_S = 0.008;
// Where a run may begin, around where it should: half a period of 60 Hz either way finds a fit for what has a low
// pitch.
const REACH_S = 0.009;
// An attack is cut in this long before its time, which is measured to some milliseconds, within a shorter crossfade.
const LEAD_S = 0.004;
const ATTACK_FADE_S = 0.002;
// What was struck this long ago may be heard again; what is younger would sound struck twice.
const YOUNG_S = 0.02;
// Fits are looked for on every so many frames only.
const COARSE = 4;
// What a stretch needs of the sound around it.
export const MARGIN_S = 0.12;

/** One lane's sound, stretch after stretch. `attacksS` in order, in seconds; `factor` is how much longer it gets. */
export class StretchedLane {
  constructor({ rateHz, factor, attacksS }) {
    this.factor = factor;
    const frames = (seconds) => Math.round(seconds * rateHz);
    [this.run, this.fade, this.reach, this.lead, this.attackFade, this.young] = [
      RUN_S,
      FADE_S,
      REACH_S,
      LEAD_S,
      ATTACK_FADE_S,
      YOUNG_S,
    ].map(frames);
    this.attacks = [...attacksS.map(frames), Infinity];
    this.next = null;
    this.ends = null;
  }

  /** Frames `from` to `from + frames` of the song, slower. `channels` hold the song from frame `first` on. Where the
   *  stretch before ended there, it goes on without a seam. */
  stretch({ channels, first, from, frames }) {
    const length = Math.round(frames * this.factor);
    const out = channels.map(() => new Float32Array(length));
    const input = { channels, mono: sumOf(channels), first };
    if (this.ends !== from) this.next = null;
    let at = 0;
    while (at < length) {
      const run = this.runAt(at, from, input);
      const frameCount = Math.min(run.length, length - at);
      copyRun(out, at, input, run, frameCount, this.next);
      this.next = run.begin + frameCount;
      at += frameCount;
    }
    this.ends = from + frames;
    return out;
  }

  /** Where in the song the run begins that is heard from output frame `at` on, how long it is, how long its
   *  crossfade. */
  runAt(at, from, input) {
    const heardAt = (frame) => Math.round((frame - from) * this.factor) - this.lead;
    const coming = this.attacks.findIndex((attack) => heardAt(attack) >= at);
    const [last = -Infinity, attack] = [this.attacks[coming - 1], this.attacks[coming]];
    if (heardAt(attack) === at) {
      const length = Math.max(1, Math.min(2 * this.run, heardAt(this.attacks[coming + 1]) - at));
      return { begin: attack - this.lead, length, fade: this.attackFade };
    }
    // No run is too short to fade in: the last one before an attack takes what is left.
    const left = heardAt(attack) - at;
    const length = left < 1.5 * this.run ? left : this.run;
    if (this.next === null) return { begin: from + Math.round(at / this.factor), length, fade: 0 };
    const highest = attack - this.lead - length - (length === left ? this.attackFade : this.fade);
    const lowest = Math.min(last + this.young, highest);
    const ideal = from + Math.round(at / this.factor - this.run / 4);
    const [earliest, latest] = [ideal - this.reach, ideal + this.reach].map((begin) => clamp(begin, lowest, highest));
    return { begin: this.bestFit(earliest, latest, input), length, fade: this.fade };
  }

  /** The begin between `lowest` and `highest` whose first frames are most alike to what would naturally come next. */
  bestFit(lowest, highest, { mono, first }) {
    let [best, bestFit] = [clamp(this.next, lowest, highest), -Infinity];
    for (let begin = Math.ceil(lowest); begin <= highest; begin++) {
      let [product, power] = [0, 1e-9];
      for (let frame = 0; frame < this.fade; frame += COARSE) {
        const value = mono[begin - first + frame] ?? 0;
        product += value * (mono[this.next - first + frame] ?? 0);
        power += value * value;
      }
      const fit = product / Math.sqrt(power);
      if (fit > bestFit) [best, bestFit] = [begin, fit];
    }
    return Math.round(best);
  }
}

function copyRun(out, at, { channels, first }, { begin, fade }, frameCount, before) {
  for (const [channel, samples] of channels.entries()) {
    for (let frame = 0; frame < frameCount; frame++) {
      const value = samples[begin - first + frame] ?? 0;
      const share = before === null || frame >= fade ? 1 : (frame + 0.5) / fade;
      out[channel][at + frame] =
        share === 1 ? value : share * value + (1 - share) * (samples[before - first + frame] ?? 0);
    }
  }
}

function sumOf(channels) {
  if (channels.length === 1) return channels[0];
  const sum = Float32Array.from(channels[0]);
  for (const samples of channels.slice(1))
    for (let frame = 0; frame < sum.length; frame++) sum[frame] += samples[frame];
  return sum;
}

function clamp(value, lowest, highest) {
  return Math.min(Math.max(value, lowest), highest);
}
