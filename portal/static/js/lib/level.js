// Sums on playing level, and a slider that says its own. Levels are dB under the file's own; nothing here knows how
// loud a room or a headphone is.

export const TOP_LEVEL_DB = 0; // the file as it is: never louder
export const START_LEVEL_DB = -18;
export const RAMP_MS = 300; // 50 ms is the least that does not jump out at the listener; this is gentler
const OFF_AT_DB = -48;

/** Linear gain of a level, 0 at the bottom of the slider, never above 1. */
export function gainOfLevel(levelDb) {
  if (levelDb <= OFF_AT_DB) return 0;
  return 10 ** (Math.min(levelDb, TOP_LEVEL_DB) / 20);
}

/** A gain in dB; silence is below every level. */
export function levelOfGain(gain) {
  return 20 * Math.log10(gain);
}

/** "−18 dB", "+3.5 dB", "off". */
export function levelText(levelDb) {
  if (levelDb <= OFF_AT_DB) return "off";
  const rounded = Math.round(levelDb * 10) / 10;
  return `${rounded > 0 ? "+" : rounded < 0 ? "−" : ""}${Math.abs(rounded)} dB`;
}

/** Who hears the slider and who points at it are told the level, not where its knob is. */
export function sayLevel(slider, levelDb) {
  slider.title = levelText(levelDb);
  slider.setAttribute("aria-valuetext", slider.title);
}

/** A slider sets a level from now on, and says it; `toDb` makes dB of what it stands at. */
export function listenToLevel(slider, toDb, set) {
  sayLevel(slider, toDb(Number(slider.value)));
  slider.addEventListener("input", () => {
    sayLevel(slider, toDb(Number(slider.value)));
    set(Number(slider.value));
  });
}

/** Gain `elapsedMs` after a start: from silence up to `gain` in RAMP_MS, in a straight line. */
export function rampedGain(gain, elapsedMs) {
  return gain * Math.min(1, Math.max(0, elapsedMs / RAMP_MS));
}
