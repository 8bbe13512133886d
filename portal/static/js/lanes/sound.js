// One lane's sound for drawing: the whole file as a pyramid of lowest and highest values, and parts of it close up.

const LEVEL_STEP = 4;
const KEPT_PARTS = 24;
// What the server gives at once, at most.
const MOST_SECONDS = 30;
const MOST_POINTS = 4096;

/** Signed bytes, pairs of lowest and highest, to levels: each next one is four times coarser. */
export function levelsOf(pairs) {
  const levels = [pairs];
  while (levels.at(-1).length > 2 * 512) levels.push(coarser(levels.at(-1)));
  return levels;
}

function coarser(pairs) {
  const points = Math.ceil(pairs.length / 2 / LEVEL_STEP);
  const out = new Int8Array(2 * points);
  for (let point = 0; point < points; point++) {
    let low = 127;
    let high = -128;
    const end = Math.min(pairs.length, 2 * LEVEL_STEP * (point + 1));
    for (let at = 2 * LEVEL_STEP * point; at < end; at += 2) {
      if (pairs[at] < low) low = pairs[at];
      if (pairs[at + 1] > high) high = pairs[at + 1];
    }
    out[2 * point] = low;
    out[2 * point + 1] = high;
  }
  return out;
}

/** Lowest and highest in each of `columns` stretches from point `from` to `to` (fractions of points are allowed). */
export function columnsBetween(pairs, from, to, columns, out) {
  const points = pairs.length / 2;
  const step = (to - from) / columns;
  for (let column = 0; column < columns; column++) {
    const start = from + column * step;
    const first = Math.max(0, Math.floor(start));
    const last = Math.min(points, Math.max(first + 1, Math.ceil(start + step)));
    const isOutside = start >= points || start + step <= 0;
    widest(pairs, first, isOutside ? first : last, out, 2 * column);
  }
  return out;
}

/** The lowest and highest of points `first` to `last` into `out`; 0 where there is none. */
function widest(pairs, first, last, out, into) {
  let low = 127;
  let high = -128;
  for (let at = 2 * first; at < 2 * last; at += 2) {
    if (pairs[at] < low) low = pairs[at];
    if (pairs[at + 1] > high) high = pairs[at + 1];
  }
  out[into] = low > high ? 0 : low;
  out[into + 1] = low > high ? 0 : high;
}

/** What close-up to ask for, so that a small move of the view asks for nothing new: whole steps, a step more at each
 *  end where so much can be had at once. */
export function partFor(startS, endS, rateHz, frames, widthPx) {
  const step = 2 ** Math.round(Math.log2(Math.max(1, ((endS - startS) * rateHz) / 2)));
  const [first, last] = [Math.floor((startS * rateHz) / step), Math.ceil((endS * rateHz) / step)];
  const more = (last - first + 2) * step <= MOST_SECONDS * rateHz ? 1 : 0;
  const start = Math.max(0, (first - more) * step);
  const end = Math.min(frames, (last + more) * step);
  const perPoint = Math.max(
    1,
    Math.floor(((endS - startS) * rateHz) / widthPx),
    Math.ceil((end - start) / MOST_POINTS),
  );
  return { start, frames: Math.max(0, end - start), points: perPoint > 4 ? Math.ceil((end - start) / perPoint) : 0 };
}

/** The part with its lowest and highest values, or with its samples where it has few; null where it cannot be had. */
async function fetchCloseUp(lane, part) {
  const query = part.points ? `points=${part.points}` : "mono";
  const answer = await fetch(`${lane.sound}?start=${part.start}&frames=${part.frames}&${query}`).catch(() => null);
  if (!answer?.ok) return null;
  const bytes = await answer.arrayBuffer();
  return part.points
    ? { ...part, pairs: new Int8Array(bytes), pcm: null }
    : { ...part, pairs: null, pcm: new Int16Array(bytes) };
}

export class LaneSound {
  constructor(lane) {
    this.lane = lane;
    this.levels = null;
    this.parts = new Map();
  }

  async load() {
    const answer = await fetch(this.lane.pyramid);
    if (answer.ok) this.levels = levelsOf(new Int8Array(await answer.arrayBuffer()));
  }

  /** Seconds that one point of a level stands for. */
  pointS(level) {
    return this.lane.duration_s / (this.levels[0].length / 2) / LEVEL_STEP ** -level;
  }

  /** Fetch the close-up of a view; true when there is something new to draw. */
  async closeUp(startS, endS, widthPx) {
    if (!this.lane.sound) return false;
    const part = partFor(startS, endS, this.lane.sample_rate_hz, this.lane.frames, widthPx);
    const name = `${part.start}+${part.frames}/${part.points}`;
    if (!part.frames || this.parts.has(name)) return false;
    this.parts.set(name, null);
    const fetched = await fetchCloseUp(this.lane, part);
    if (!fetched) {
      this.parts.delete(name);
      return false;
    }
    this.parts.set(name, fetched);
    if (this.parts.size > KEPT_PARTS) this.parts.delete(this.parts.keys().next().value);
    return true;
  }

  /** The finest part that covers the view, or null. */
  partOver(startS, endS) {
    const rateHz = this.lane.sample_rate_hz;
    const last = Math.min(endS * rateHz, this.lane.frames);
    const over = [...this.parts.values()].filter(
      (part) => part && part.start <= Math.max(0, startS * rateHz) && part.start + part.frames >= last,
    );
    return over.sort((a, b) => a.frames - b.frames)[0] ?? null;
  }
}
