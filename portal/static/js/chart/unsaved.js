// What was changed on a chart and not saved.
import { isSame } from "kitpost/chart/edits";
import { agoWords, Unsaved } from "kitpost/lib/unsaved";

export function unsavedChart(visit) {
  return new Unsaved({ ...visit, kind: "chart", isOne: (chart) => Boolean(chart?.sections?.length), isSame });
}

/** What is said of work that an earlier visit left, on a page that shows version `shown`. */
export function offerWords({ began, atMs }, shown) {
  const since = began === shown ? "" : ` It began from version ${began}; another was saved since.`;
  return `A chart that was not saved is kept in this browser, last changed ${agoWords(Date.now() - atMs)}.${since}`;
}
