// The client's words, for the section that is playing. Sums only.
//
// A line that begins with a section's letter or with bars belongs there: "B: half-time", "Section B: …",
// "bar 33: stop", "bars 17-24: brushes". All other lines are for the whole song.
const BARS = /^\s*bars?\s+(?<first>\d+)(?:\s*(?:-|–|to)\s*(?<last>\d+))?\s*:\s*\S/i;
const SECTION = /^\s*(?:section\s+)?(?<label>[A-Z])\s*:\s*(?<words>.+)$/i;

/** {whole: [...], here: [...]}: lines for the song, and for the section {label, bar, bars}. */
export function wordsFor({ feel, notes, references }, section) {
  const lines = notes.split(/\r?\n/).filter((line) => line.trim());
  const read = lines.map((line) => ({ line: line.trim(), place: (BARS.exec(line) ?? SECTION.exec(line))?.groups }));
  const whole = read.filter(({ place }) => !place).map(({ line }) => line);
  const here = section ? read.filter(({ place }) => place && isHere(place, section)) : [];
  const like = references.trim() ? [`Like: ${references.trim().split(/\r?\n/).join(", ")}`] : [];
  const ofHere = here.map(({ line, place }) => (place.label ? place.words : line));
  return { whole: [feel, ...whole, ...like].filter(Boolean), here: ofHere };
}

function isHere({ first, last, label }, section) {
  if (label) return label.toUpperCase() === section.label.toUpperCase();
  const [from, to] = [Number(first), Number(last ?? first)];
  return from < section.bar + section.bars && to >= section.bar;
}
