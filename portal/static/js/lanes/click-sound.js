// The click that is played: the sound of the prepared click.

const CLICK = { decayS: 0.012, soundS: 0.06, fadeS: 0.004, peakDb: -12 };
const KINDS = { accent: { pitchHz: 1600, db: 0 }, beat: { pitchHz: 1000, db: -5 }, part: { pitchHz: 800, db: -11 } };

/** A click's samples: a short decaying sine that sounds from its first sample on, as in the prepared click. `kind`:
 *  "accent" on a bar line, "beat", or "part" between beats. */
export function clickSamples(kind, rateHz) {
  const frames = Math.floor(CLICK.soundS * rateHz);
  const samples = new Float32Array(frames);
  const { pitchHz, db } = KINDS[kind];
  let peak = 0;
  for (let frame = 0; frame < frames; frame++) {
    const timeS = (frame + 0.5) / rateHz;
    samples[frame] =
      Math.sin(2 * Math.PI * pitchHz * timeS) *
      Math.exp(-timeS / CLICK.decayS) *
      Math.min(1, (CLICK.soundS - timeS) / CLICK.fadeS);
    peak = Math.max(peak, Math.abs(samples[frame]));
  }
  const level = 10 ** ((CLICK.peakDb + db) / 20) / peak;
  return samples.map((sample) => sample * level);
}
