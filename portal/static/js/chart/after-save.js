// A save loads the page anew: what was chosen, the player's place and the steps to undo go over to it.
const KEPT = "kitpost-chart-saved";

/** `place`: {number (of the version), chosen, headS, past}. Without room for the steps it goes without them. */
export function keepPlace(place) {
  for (const one of [place, { ...place, past: [] }])
    try {
      return sessionStorage.setItem(KEPT, JSON.stringify(one));
    } catch {
      // The next has fewer steps.
    }
}

/** Once, on the page that shows version `number`; null where none was saved. */
export function placeAfterSave(number) {
  const kept = sessionStorage.getItem(KEPT);
  sessionStorage.removeItem(KEPT);
  const place = kept && JSON.parse(kept);
  return place?.number === number ? place : null;
}
