// The beats of a bar that a stop or a fill takes, as a person types them: "all", "3-4", "2&-4". Sums only.
import { beatNumber, beatsIn, counted, lengthJson, NEAR } from "kitpost/chart/counting";

export const WHOLE = "all";

export function wholeBar(meter) {
  return { beat: 1, beats: Number(meter.split("/")[0]) };
}

/** Spans of the chart's JSON in a text; the beat that is named last counts whole. Null where that is none. */
export function spansIn(meter, text) {
  const spans = [];
  for (const part of text.split(/[,;]/).filter((one) => one.trim())) {
    const span = spanIn(meter, part.trim());
    if (!span || beatNumber(span.beat) < endOf(spans.at(-1)) - NEAR) return null;
    spans.push(span);
  }
  return spans;
}

/** The same the other way: what a field shows of spans. */
export function spansSaid(meter, spans) {
  return spans.map((span) => said(meter, span)).join(", ");
}

function spanIn(meter, text) {
  if (text.toLowerCase() === WHOLE) return wholeBar(meter);
  const places = text.split(/[-–]/).map((one) => beatsIn(meter, one));
  if (places.length > 2 || places.some((found) => found?.length !== 1)) return null;
  const [from, to] = [places[0][0], places.at(-1)[0]].map(beatNumber);
  if (to < from) return null;
  return { beat: places[0][0], beats: lengthJson(Math.round(12 * (Math.floor(to + NEAR) + 1 - from))) };
}

function said(meter, span) {
  const last = Math.ceil(endOf(span) - NEAR) - 1;
  if (beatNumber(span.beat) === 1 && last === wholeBar(meter).beats) return WHOLE;
  const first = counted(meter, span.beat);
  return last > beatNumber(span.beat) ? `${first}-${last}` : first;
}

function endOf(span) {
  return span ? beatNumber(span.beat) + beatNumber(span.beats) : 0;
}
