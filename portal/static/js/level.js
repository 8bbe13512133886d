// Sums on playing level. Levels are dB under the file's own; nothing here knows how loud a room or a headphone is.

export const TOP_LEVEL_DB = 0; // the file as it is: never louder
export const START_LEVEL_DB = -18;
export const RAMP_MS = 300; // 50 ms is the least that does not jump out at the listener; this is gentler
const OFF_AT_DB = -48;

/** Linear gain of a level, 0 at the bottom of the slider, never above 1. */
export function gainOfLevel(levelDb) {
  if (levelDb <= OFF_AT_DB) return 0;
  return 10 ** (Math.min(levelDb, TOP_LEVEL_DB) / 20);
}

/** Gain `elapsedMs` after a start: from silence up to `gain` in RAMP_MS, in a straight line. */
export function rampedGain(gain, elapsedMs) {
  return gain * Math.min(1, Math.max(0, elapsedMs / RAMP_MS));
}
