// Bars of beats before a place in a song. Sums only; nothing here touches the page.

const SAME_S = 1e-4;
const MOST_BEATS = 16;

/** The bars that lead to `songS`: the beats there, going on backwards from the first at or after it. `beats`:
 *  [seconds, accent] in order. Answers {lengthS, clicks: [{beforeS, accent}]}, seconds before `songS`, negative in a
 *  pickup; null where no beat is near. */
export function countIn(beats, songS, bars = 1) {
  const next = beats.findIndex(([beatS]) => beatS >= songS - SAME_S);
  if (next < 0 || beats.length < 2) return null;
  // Across a passage that is free of the grid two beats lie far apart: the nearer neighbour tells the tempo.
  const beatS = Math.min(...[gapAfter(beats, next - 1), gapAfter(beats, next)].filter((gapS) => gapS > 0));
  const aheadS = Math.max(0, beats[next][0] - songS);
  const { size, at } = barAround(beats, next);
  // Farther off than a beat it lies in a free passage; before the first beat, in a pickup of a bar at most.
  if (aheadS > (next > 0 ? 1 : size) * beatS + SAME_S) return null;
  const count = beatsBefore(bars * size, size, aheadS / beatS);
  const clicks = [];
  for (let back = count; back > 0; back--)
    clicks.push({ beforeS: back * beatS - aheadS, accent: (at - back + count) % size === 0 });
  return { lengthS: clicks[0].beforeS, clicks };
}

/** Which beat of its bar is heard at `heardS` of a count-in {beats: [{atS, accent}], songAtS}: {beat, beats}, from 1;
 *  null before the first and once the song has begun. What begins in a bar counts from there. */
export function countedAt({ beats, songAtS }, heardS) {
  const at = beats.findLastIndex(({ atS }) => atS <= heardS);
  if (at < 0 || heardS >= songAtS) return null;
  const first = Math.max(
    0,
    beats.findLastIndex(({ accent }, index) => accent && index <= at),
  );
  const next = beats.findIndex(({ accent }, index) => accent && index > at);
  return { beat: at - first + 1, beats: (next < 0 ? beats.length : next) - first };
}

/** A song with a pickup begins before its first beat, and is counted in up to that beat, through the pickup: in whole
 *  bars, with one beat before it at least. */
function beatsBefore(counted, size, pickup) {
  return counted + size * Math.max(0, Math.ceil((pickup + 1 - counted) / size - SAME_S));
}

function gapAfter(beats, at) {
  return at >= 0 && beats[at + 1] ? beats[at + 1][0] - beats[at][0] : 0;
}

/** How many beats the bar around beat `next` has, and which of them that is, from 0. */
function barAround(beats, next) {
  const ones = beats.flatMap(([, accent], at) => (accent ? [at] : []));
  const first = ones.findLast((at) => at <= next);
  const after = ones.filter((at) => at > next);
  if (first !== undefined) {
    const size = within((after[0] ?? beats.length) - first);
    return { size, at: (next - first) % size };
  }
  // A pickup: its bar is as long as the bar after it.
  const size = within((after[1] ?? beats.length) - (after[0] ?? 0));
  return { size, at: (((next - (after[0] ?? 0)) % size) + size) % size };
}

function within(beats) {
  return Math.min(Math.max(beats, 1), MOST_BEATS);
}
