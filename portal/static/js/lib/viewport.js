// Sums on the stretch of a song that is in view: {startS, endS}.

/** A window of `lengthS` around `centreS`, kept inside 0..durationS and no shorter than `leastS`. */
export function windowAround(centreS, lengthS, durationS, leastS) {
  const length = Math.min(durationS, Math.max(leastS, lengthS));
  const start = Math.min(Math.max(0, centreS - length / 2), durationS - length);
  return { startS: start, endS: start + length };
}

/** Zoom by `factor`, with the moment under the pointer staying where it is. */
export function zoomAt(view, momentS, factor, durationS, leastS) {
  const length = Math.min(durationS, Math.max(leastS, (view.endS - view.startS) * factor));
  const share = (momentS - view.startS) / (view.endS - view.startS);
  const start = Math.min(Math.max(0, momentS - share * length), durationS - length);
  return { startS: start, endS: start + length };
}

/** Move the window by `byS` seconds, stopping at the ends. */
export function pan(view, byS, durationS) {
  const length = view.endS - view.startS;
  const start = Math.min(Math.max(0, view.startS + byS), durationS - length);
  return { startS: start, endS: start + length };
}
