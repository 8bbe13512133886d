// Sums of the headphone balance: from levels in dB to gains, and how far all is held back so that the sum of everything
// stays under the ceiling. Nothing here touches the page.

export const OFF_DB = -48;
// Above a part's own level; all together is held under the ceiling whatever is asked for.
export const MOST_DB = 12;
// House choices: the sum of all peaks stays under this, and never comes nearer to full scale than the last.
export const CEILINGS_DB = [-6, -3, -1];

export function gainOf(db) {
  return db <= OFF_DB ? 0 : 10 ** (Math.min(db, MOST_DB) / 20);
}

/** What was kept, over what a song begins with: stems as they are, whole mixes beside stems and the client's click
 *  off. */
export function levelsFrom(kept, lanes) {
  const hasStems = lanes.some(isStem);
  const isOff = (lane) => lane.role === "click" || (lane.role === "mix" && hasStems);
  const begin = Object.fromEntries(lanes.map((lane) => [lane.id, isOff(lane) ? OFF_DB : 0]));
  const plain = { click: 0, music: 0, groups: {}, lanes: {}, mono: false, without_drums: false };
  const levels = { ...plain, ...kept };
  return { ...levels, groups: { ...levels.groups }, lanes: { ...begin, ...levels.lanes } };
}

function isStem({ role }) {
  return role !== "click" && role !== "mix";
}

/** Roles with more than one file: each has one slider for all of them. */
export function groupsOf(lanes) {
  const roles = [...new Set(lanes.map((lane) => lane.role))];
  return roles.filter((role) => role !== "other" && lanes.filter((lane) => lane.role === role).length > 1);
}

/** Whether "without the guide drums" can mean anything: some file is drums, and some other is music. */
export function hasGuideDrums(lanes) {
  return lanes.some((lane) => lane.role === "drums") && lanes.some((lane) => isStem(lane) && lane.role !== "drums");
}

/** {click, lanes: [...]}: gains of each part before `total`. */
export function gainsOf(levels, lanes) {
  const inGroups = new Set(groupsOf(lanes));
  const gainOfLane = (lane) => {
    if (levels.without_drums && lane.role === "drums") return 0;
    const group = inGroups.has(lane.role) ? gainOf(levels.groups[lane.role] ?? 0) : 1;
    return gainOf(levels.lanes[lane.id] ?? 0) * group * gainOf(levels.music);
  };
  return { click: gainOf(levels.click), lanes: lanes.map(gainOfLane) };
}

/** What all is multiplied with so that the peaks of everything on one output, all at one moment, stay under the
 *  ceiling: 1 where they do anyway. `pairs`: the output of the click and of each lane; `clickPeakDb`: of the loudest
 *  click, before its level. */
export function boundOf(gains, lanes, { totalDb, ceilingDb, pairs, clickPeakDb }) {
  const sums = [];
  const add = (pair, peak) => (sums[pair] = (sums[pair] ?? 0) + peak);
  add(pairs.click, gains.click * 10 ** (clickPeakDb / 20));
  for (const [at, lane] of lanes.entries()) add(pairs.lanes[at], gains.lanes[at] * peakOf(lane));
  const highest = Math.max(0, ...sums.filter(Number.isFinite)) * gainOf(totalDb);
  return highest > 0 ? Math.min(1, 10 ** (ceilingDb / 20) / highest) : 1;
}

/** As measured; the copy that is played cannot pass full scale. */
function peakOf({ peak_dbfs: peakDb }) {
  return peakDb == null ? 1 : Math.min(1, 10 ** (peakDb / 20));
}
