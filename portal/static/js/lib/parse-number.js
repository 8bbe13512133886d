// Numbers as people type them.

/** NaN where nothing is written: an empty field is no bar 0. */
export function parseNumber(text) {
  return text.trim() ? Number(text) : NaN;
}
