// What was changed on a tempo map and not approved.
import { bpmOf, written } from "kitpost/map/edits";
import { Unsaved } from "kitpost/lib/unsaved";

const SAME = 1e-6;

export function unsavedMap(visit) {
  return new Unsaved({ ...visit, kind: "map", isOne: (map) => Boolean(map?.anchors?.length), isSame });
}

/** Whether two are one map once they are approved; in doubt they are not, and nothing is lost. */
function isSame(one, other) {
  const [these, those] = [written(one), written(other)];
  const isLine = (anchor, at) => isSameAnchor(anchor, those[at]);
  return Math.abs(bpmOf(one) - bpmOf(other)) < SAME && these.length === those.length && these.every(isLine);
}

function isSameAnchor(one, other) {
  const isNear = Math.abs(one.time_s - other.time_s) < SAME;
  return isNear && one.bar === other.bar && one.meter === other.meter && Boolean(one.free) === Boolean(other.free);
}
