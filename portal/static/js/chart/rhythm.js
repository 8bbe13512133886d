// A written rhythm as a person types it: "1, 2&, (3), 4". Each note lasts until the next one or the bar line; a place
// in brackets is where a rest begins. Sums only.
import { beatNumber, beatsIn, counted, lengthJson, NEAR } from "kitpost/chart/counting";

const PLACE = /^(?<open>\()?(?<words>[^()]+)(?<close>\))?$/;

/** Notes of the chart's JSON, {beat, length}; null where a word is no place of the bar, or comes before the last. */
export function rhythmIn(meter, text) {
  const words = text.split(/[,;]/).filter((word) => word.trim());
  const places = words.map((word) => placeIn(meter, word.trim()));
  const isInOrder = places.every((one, at) => one && (!at || placeNumber(one) > placeNumber(places[at - 1]) + NEAR));
  if (!isInOrder) return null;
  const ends = [...places.slice(1).map(placeNumber), endOf(meter)];
  return places
    .map(({ beat, isRest }, at) => ({ beat, isRest, length: lengthJson(twelfths(ends[at] - beatNumber(beat))) }))
    .filter(({ isRest }) => !isRest)
    .map(({ beat, length }) => ({ beat, length }));
}

/** The same the other way: what a field shows of notes. */
export function rhythmSaid(meter, notes) {
  return notes
    .flatMap(({ beat, length = 1 }, at) => {
      const end = beatNumber(beat) + beatNumber(length);
      const next = at + 1 < notes.length ? beatNumber(notes[at + 1].beat) : endOf(meter);
      const own = counted(meter, beat);
      return end < next - NEAR ? [own, `(${counted(meter, lengthJson(twelfths(end)))})`] : [own];
    })
    .join(", ");
}

function placeIn(meter, word) {
  const { open, words, close } = PLACE.exec(word)?.groups ?? {};
  const beats = words && Boolean(open) === Boolean(close) ? beatsIn(meter, words) : null;
  return beats?.length === 1 ? { beat: beats[0], isRest: Boolean(open) } : null;
}

function placeNumber({ beat }) {
  return beatNumber(beat);
}

function endOf(meter) {
  return Number(meter.split("/")[0]) + 1;
}

function twelfths(beats) {
  return Math.round(12 * beats);
}
