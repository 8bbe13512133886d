// Sums on how loud take and music are beside each other. Nothing here touches the page or makes sound.
//
// Everything is turned down to the softest of what can be heard (loudness by ITU-R BS.1770), and the sum of take and
// music is as loud wherever the slider stands, by the power of sounds that have nothing in common: 3 dB less for each
// where both are whole. So neither the other take nor the other end of the slider wins by being louder.

// A side fades by so many dB up to the end of the slider, where it is off.
const FADE_DB = 24;

export const amplitude = (db) => 10 ** (db / 20);

/** Gains that bring each to the softest, 1 for what has no loudness (silence). None is above 1. */
export function matchedGains(loudnesses) {
  const known = loudnesses.filter((one) => one !== null && one !== undefined);
  const softest = Math.min(...known);
  return loudnesses.map((one) => (one === null || one === undefined ? 1 : amplitude(softest - one)));
}

/** {take, music} at `balance` from -1 (the take alone) to 1 (the music alone). A take that holds the music already has
 *  none laid under it: from the middle on it gives way to the music alone. */
export function shares(balance, holds) {
  const sides =
    holds === "mix"
      ? { take: fade(balance), music: balance > 0 ? fade(1 - balance) : 0 }
      : { take: fade(balance), music: fade(-balance) };
  const power = Math.hypot(sides.take, sides.music) || 1;
  return { take: sides.take / power, music: sides.music / power };
}

/** Whole up to 0, off at 1. */
function fade(x) {
  if (x >= 1) return 0;
  return x <= 0 ? 1 : amplitude(-FADE_DB * x);
}

export function balanceText(balance, holds) {
  const what = holds === "mix" ? "rough mix" : "drums";
  if (balance <= -1 || (holds === "mix" && balance <= 0)) return `${what} alone`;
  if (balance >= 1) return "your music alone";
  if (balance === 0) return `${what} and music alike`;
  return balance < 0 ? `more ${what}` : "more music";
}
