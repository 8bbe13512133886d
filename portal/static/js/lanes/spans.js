// Stretches of a song laid one after the other on the audio clock. Sums only.

const PART_S = 4;

/** The next stretch from the cursor on, looping in `loop`; null at the end. `isRound`: a round of the loop ends. */
export function nextStretch(cursor, endS, loop) {
  const stopS = loop && cursor.songS < loop.endS ? loop.endS : endS;
  const lengthS = Math.min(PART_S, stopS - cursor.songS);
  if (!(lengthS > 1e-9)) return null;
  const isRound = Boolean(loop) && Math.abs(cursor.songS + lengthS - loop.endS) < 1e-9;
  const nextSongS = isRound ? loop.startS : cursor.songS + lengthS;
  return { songS: cursor.songS, atS: cursor.atS, lengthS, nextSongS, isRound };
}

/** When a span that was laid ends, by the audio clock. */
export function endOf({ atS, lengthS, factor }) {
  return atS + lengthS * factor;
}

/** The span that sounds at `atS`; the first one before it begins. */
export function spanAt(spans, atS) {
  return spans.findLast((one) => one.atS <= atS) ?? spans[0];
}

export function songTimeAt(spans, atS) {
  const { songS, atS: beganS, lengthS, factor } = spanAt(spans, atS);
  return songS + Math.min(Math.max(0, atS - beganS) / factor, lengthS);
}
