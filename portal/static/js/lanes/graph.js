// The audio graph that lanes and click are played through.
import { RAMP_MS } from "kitpost/lib/level";

// Hard ceiling of everything together, as a share of full scale: -1 dBFS.
const CEILING = 10 ** (-1 / 20);

/** The lanes into one gain, with the click into another, and under the ceiling. */
export function graphOf(context, { levels, clickLevel }) {
  const master = context.createGain();
  master.gain.value = 0;
  master.connect(ceilingAt(context, CEILING)).connect(context.destination);
  const music = gainInto(context, master, 1);
  return {
    master,
    music,
    gains: levels.map((level) => gainInto(context, music, level)),
    clickOut: master,
    clickGain: gainInto(context, master, clickLevel),
  };
}

/** Nothing passes it, whatever comes: what is higher is cut off. `ceiling`: a share of full scale. */
export function ceilingAt(context, ceiling) {
  const shaper = context.createWaveShaper();
  shaper.curve = Float32Array.from({ length: 4097 }, (_, at) => Math.max(-ceiling, Math.min(ceiling, at / 2048 - 1)));
  return shaper;
}

export function gainInto(context, node, value) {
  const gain = context.createGain();
  gain.gain.value = value;
  gain.connect(node);
  return gain;
}

/** Silent until `atS`, and up over the ramp's time. */
export function ramp(gain, value, atS) {
  gain.cancelScheduledValues(0);
  gain.setValueAtTime(0, atS);
  gain.linearRampToValueAtTime(value, atS + RAMP_MS / 1000);
}

/** The rate that most lanes have: they are played without being resampled. */
export function commonRate(lanes) {
  const counts = new Map();
  for (const { sample_rate_hz: rateHz } of lanes)
    if (rateHz >= 8000 && rateHz <= 96000) counts.set(rateHz, (counts.get(rateHz) ?? 0) + 1);
  return [...counts].sort((a, b) => b[1] - a[1])[0]?.[0] ?? 48000;
}
