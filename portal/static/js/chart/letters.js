// Rehearsal letters: in order of appearance, like sections alike (A, B, A2). What a person typed stays.

const LETTERED = /^(?<base>[A-Z]+)\d*$/;
const LETTERS = [..."ABCDEFGHIJKLMNOPQRSTUVWXYZ"];
// After Z come AA, BB and on, as rehearsal marks do by common practice.
const ALL = [...LETTERS, ...LETTERS.map((letter) => letter.repeat(2))];

/** A section that is like no other yet; `relettered` finds its letter. */
export const NEW = "?";

/** The sections with their letters in order; those without a letter keep none. */
export function relettered(sections) {
  const bases = sections.map(({ letter = "" }) => (letter === NEW ? NEW : (LETTERED.exec(letter)?.groups.base ?? "")));
  const typed = bases.filter((base, at) => base && isTyped(sections[at]));
  const names = new Map(typed.map((base) => [base, base]));
  const free = ALL.filter((letter) => !names.has(letter));
  const times = new Map();
  return sections.map((section, at) => {
    const base = bases[at];
    if (!base) return section;
    if (!names.has(base)) names.set(base, free.shift() ?? ALL.at(-1));
    const count = (times.get(base) ?? 0) + 1;
    times.set(base, count);
    const letter = names.get(base) + (count > 1 ? count : "");
    return isTyped(section) || section.letter === letter ? section : { ...section, letter };
  });
}

function isTyped({ decided = [] }) {
  return decided.includes("letter");
}
