// Places in a bar as players count them: "1 e & a" in quarters, "1 trip let" in triplets, eighths from 1 in 6/8, "3 &"
// between them. Sums only.

const QUARTER = { 0: "", 1: "e", 2: "&", 3: "a" };
const TRIPLET = { 1: "trip", 2: "let" };
// Of a beat; two places nearer than this are one.
export const NEAR = 1e-3;

/** A beat of the chart's JSON as a number: 2.5, or "7/3" where decimals cannot say it. */
export function beatNumber(beat) {
  const [upper, lower = 1] = String(beat).split("/").map(Number);
  return upper / lower;
}

/** A beat as it is counted: 1.75 is "1a" in 4/4, 2.5 is "2&" in 6/8. */
export function counted(meter, beat) {
  const place = beatNumber(beat);
  const number = Math.floor(place + NEAR);
  const part = place - number;
  const found = partsOf(meter).find(([, at]) => Math.abs(at - part) < NEAR);
  return found ? `${number}${found[0].length > 1 ? " " : ""}${found[0]}` : String(Math.round(place * 100) / 100);
}

/** The same in a sentence: "the a of 1", "beat 4". */
export function countedWords(meter, beat) {
  const [, number, part] = /^(\d+) ?(\D*)$/.exec(counted(meter, beat)) ?? [null, counted(meter, beat), ""];
  return part ? `the ${part} of ${number}` : `beat ${number}`;
}

/** What a person typed, "1 1a 2& 3 trip", as beats; null where a word is no place of a bar in this meter. */
export function beatsIn(meter, text) {
  const upper = Number(meter.split("/")[0]);
  const beats = [];
  for (const word of text
    .replaceAll(/(\d)\s+(?=[e&a]\b|&|trip|let)/g, "$1")
    .split(/[\s,;]+/)
    .filter(Boolean)) {
    const { number, part } = /^(?<number>\d+)(?<part>\D*)$/.exec(word)?.groups ?? {};
    const found = partsOf(meter).find(([name]) => name === part);
    if (!found || Number(number) < 1 || Number(number) > upper) return null;
    beats.push(beatJson(Number(number), found));
  }
  return beats;
}

/** Places of a bar in this meter, as an example. */
export function countingLike(meter) {
  const upper = Number(meter.split("/")[0]);
  const parts = partsOf(meter).map(([name]) => name);
  const like = ["", ...parts.filter((name) => name === "&" || name === "a" || name === "trip")];
  return like.map((name, at) => `${Math.min(at + 1, upper)}${name.length > 1 ? " " : ""}${name}`).join(", ");
}

/** Twelfths of a beat as the house writes lengths: thirds as a fraction. */
export function lengthJson(twelfths) {
  return twelfths % 3 ? `${twelfths / 4}/3` : twelfths / 12;
}

function beatJson(number, [name, at]) {
  if (at === 0) return number;
  return name === "trip" || name === "let" ? `${number * 3 + (name === "trip" ? 1 : 2)}/3` : number + at;
}

/** [name, part of a beat] for each place that a written beat has: quarters in four and in three, eighths in two. */
function partsOf(meter) {
  const lower = Number(meter.split("/")[1]);
  const steps = lower >= 16 ? 1 : lower === 8 ? 2 : 4;
  const straight = Object.entries(QUARTER).map(([step, name]) => [name, Number(step) / 4]);
  const own = straight.filter(([, at]) => Number.isInteger(at * steps));
  const triplets = Object.entries(TRIPLET).map(([step, name]) => [name, Number(step) / 3]);
  return lower === 4 ? [...own, ...triplets] : own;
}
