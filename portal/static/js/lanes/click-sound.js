// The click that is played: the sound of the prepared click.

const CLICK = { accentHz: 1600, beatHz: 1000, beatDb: -5, decayS: 0.012, soundS: 0.06, fadeS: 0.004, peakDb: -12 };

/** A click's samples: a short decaying sine that sounds from its first sample on, as in the prepared click. */
export function clickSamples(isAccent, rateHz) {
  const frames = Math.floor(CLICK.soundS * rateHz);
  const samples = new Float32Array(frames);
  const pitchHz = isAccent ? CLICK.accentHz : CLICK.beatHz;
  let peak = 0;
  for (let frame = 0; frame < frames; frame++) {
    const timeS = (frame + 0.5) / rateHz;
    samples[frame] =
      Math.sin(2 * Math.PI * pitchHz * timeS) *
      Math.exp(-timeS / CLICK.decayS) *
      Math.min(1, (CLICK.soundS - timeS) / CLICK.fadeS);
    peak = Math.max(peak, Math.abs(samples[frame]));
  }
  const level = 10 ** ((CLICK.peakDb + (isAccent ? 0 : CLICK.beatDb)) / 20) / peak;
  return samples.map((sample) => sample * level);
}
