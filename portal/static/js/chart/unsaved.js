// What was changed on a chart and not saved.
import { isSame } from "kitpost/chart/edits";
import { Unsaved } from "kitpost/lib/unsaved";

export function unsavedChart(visit) {
  return new Unsaved({ ...visit, kind: "chart", isOne: (chart) => Boolean(chart?.sections?.length), isSame });
}
