// What may be typed into the fields of a bar. Sums only: what cannot be read is null, and a sentence says what can.
import { beatsIn, countingLike } from "kitpost/chart/counting";
import { rhythmIn } from "kitpost/chart/rhythm";
import { spansIn } from "kitpost/chart/spans";

// As the house reads a chart: beats in a bar (analysis/maps/tempo_map.py), passes (analysis/chart/reading.py).
const MOST_IN_A_BAR = 32;
const MOST_PASSES = 32;

const SPANS = "Type “all” for the whole bar, or beats from and to, such as “3-4”; empty for none.";
const OF_A_VOICE = "drums-";

const READERS = {
  meter: meterIn,
  hits: (text, meter) => beatsIn(meter, text),
  drums: (text, meter) => beatsIn(meter, text),
  rhythm: (text, meter) => rhythmIn(meter, text),
  stops: (text, meter) => spansIn(meter, text),
  fills: (text, meter) => spansIn(meter, text),
  held: (text, meter) => oneOf(beatsIn(meter, text)),
  repeat_end: timesIn,
  ending: passesIn,
};
const POSSIBLE = {
  meter: () => "A meter is a number over 1, 2, 4, 8, 16 or 32, such as 4/4 or 6/8.",
  hits: (meter) => `Hits are places in a bar of ${meter}, such as “${countingLike(meter)}”.`,
  drums: (meter) => `Strokes are places in a bar of ${meter}, such as “${countingLike(meter)}”.`,
  rhythm: (meter) => `Notes begin at places in a bar of ${meter}, one after the other; a place in brackets is a rest.`,
  stops: () => SPANS,
  fills: () => SPANS,
  held: (meter) => `One place in a bar of ${meter} is held, such as “1”; empty for none.`,
  repeat_end: () => `A repeat is played 2 to ${MOST_PASSES} times in all; empty for no end of a repeat.`,
  ending: () => `An ending is for passes by number, such as “1” or “1, 2”; empty for no ending.`,
};

/** What was typed into field `name` of a bar in `meter`; null where it is nothing that can be there. */
export function entryIn(name, text, meter) {
  const read = READERS[kindOf(name)];
  return read ? read(text, meter) : text;
}

export function possibleWords(name, meter) {
  return POSSIBLE[kindOf(name)]?.(meter) ?? "";
}

/** Of "drums-kick" that is "drums": each voice has a field. */
function kindOf(name) {
  return voiceOf(name) ? "drums" : name;
}

/** The drum that a field is for, "open hat"; null where it is for none. */
export function voiceOf(name) {
  return name.startsWith(OF_A_VOICE) ? name.slice(OF_A_VOICE.length) : null;
}

function meterIn(text) {
  const { upper, lower } = /^(?<upper>\d{1,2})\s*\/\s*(?<lower>1|2|4|8|16|32)$/.exec(text.trim())?.groups ?? {};
  return isFrom(1, MOST_IN_A_BAR, Number(upper)) ? `${Number(upper)}/${lower}` : null;
}

/** The only place; 0 where nothing was typed. */
function oneOf(beats) {
  if (!beats || beats.length > 1) return null;
  return beats[0] ?? 0;
}

function timesIn(text) {
  if (!text.trim()) return 0;
  return isFrom(2, MOST_PASSES, Number(text)) ? Number(text) : null;
}

function passesIn(text) {
  const passes = text
    .split(/[\s,;]+/)
    .filter(Boolean)
    .map(Number);
  return passes.every((pass) => isFrom(1, MOST_PASSES, pass)) ? passes : null;
}

function isFrom(least, most, value) {
  return Number.isInteger(value) && value >= least && value <= most;
}
