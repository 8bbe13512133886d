// Sums on the picture of a sound: which level of the min/max pyramid to draw, and what each column of pixels shows.

/** The coarsest level that still has a point for every pixel; the finest when none has. */
export function chooseLevel(levels, framesPerPx) {
  const byFineness = [...levels].sort((a, b) => a.frames_per_point - b.frames_per_point);
  let chosen = byFineness[0];
  for (const level of byFineness) if (level.frames_per_point <= framesPerPx) chosen = level;
  return chosen;
}

/** Frames a second, from the finest level and the file's length: the picture's file does not say it. */
export function framesPerSecond(levels, durationS) {
  const finest = levels.reduce((a, b) => (b.frames_per_point < a.frames_per_point ? b : a));
  return (finest.min.length * finest.frames_per_point) / durationS;
}

/** Lowest and highest value in each of `columns` equal stretches from `startS` to `endS`; [0, 0] outside the sound. */
export function columnsOf(level, pointsPerS, startS, endS, columns) {
  const points = level.min.length;
  const perColumn = ((endS - startS) * pointsPerS) / columns;
  const out = [];
  for (let column = 0; column < columns; column++) {
    const from = startS * pointsPerS + column * perColumn;
    const first = Math.max(0, Math.floor(from));
    const last = Math.min(points, Math.max(Math.floor(from) + 1, Math.ceil(from + perColumn)));
    let low = Infinity;
    let high = -Infinity;
    for (let point = first; point < last; point++) {
      if (level.min[point] < low) low = level.min[point];
      if (level.max[point] > high) high = level.max[point];
    }
    out.push(low > high ? [0, 0] : [low, high]);
  }
  return out;
}

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
