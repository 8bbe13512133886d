// Why the house cannot take a chart, in the page's own bar numbers and words.
import { countedWords } from "kitpost/chart/counting";
import { barAt, meterOf } from "kitpost/chart/edits";

const PLACE = /the chart, section (?<section>\d+), bar (?<index>\d+)[^:]*: (?<what>.+)$/s;

/** {bar, sentence}: the written bar, null where it is no bar's. `labelOf(bar)`: what the page calls it. */
export function faultOf(error, chart, labelOf) {
  const { section, index, what } = PLACE.exec(error)?.groups ?? {};
  const before = chart.sections.slice(0, section - 1).reduce((sum, { bars }) => sum + bars.length, 0);
  const bar = before + Number(index);
  const at = what && barAt(chart, bar);
  if (!at) return { bar: null, sentence: error };
  const meter = meterOf(chart, at.bar);
  const words = what.replaceAll(/beat (\d+(?:\/\d+)?)/g, (_, beat) => countedWords(meter, beat));
  const help = /\bhit\b|triplet|sixteenth/.test(what) ? " Change what is played there, or the meter." : "";
  return { bar, sentence: `It cannot be saved: in bar ${labelOf(bar)} ${words}${help}` };
}

/** Beside Save, until the chart can be saved; null for nothing. */
export function showFault(element, fault) {
  const line = element.querySelector("[data-chart-why]");
  line.textContent = fault?.sentence ?? "";
  line.hidden = !fault;
}
