// Every edit of a chart as a plain function: chart in, new chart out. Nothing here touches the page.
//
// A chart is the JSON that the house keeps: {sections: [{letter, name, bars: [{shows, hits, …}], decided}]}. Bars are
// counted as written, from 1. What a person changed is named in `decided`, so that no later draft changes it back. An
// edit that cannot be made gives the same chart back.

import { beatNumber, lengthJson } from "kitpost/chart/counting";
import { NEW, relettered } from "kitpost/chart/letters";

const PLACE = "place";

/** {section, index, bar} of written bar `number`; null where there is none. */
export function barAt(chart, number) {
  let left = number - 1;
  for (const [section, { bars }] of chart.sections.entries()) {
    if (left >= 0 && left < bars.length) return { section, index: left, bar: bars[left] };
    left -= bars.length;
  }
  return null;
}

export function barCount(chart) {
  return chart.sections.reduce((sum, { bars }) => sum + bars.length, 0);
}

export function meterOf(chart, bar) {
  return bar.meter ?? chart.meter ?? "4/4";
}

/** What a bar is given: {name: value}; null takes a field out. `aspects` says what a person decided by that. */
export function withBar(chart, number, changes, ...aspects) {
  const at = barAt(chart, number);
  if (!at) return chart;
  const changed = put(at.bar, changes);
  if (isSame(changed, at.bar)) return chart;
  const { bars } = chart.sections[at.section];
  return withBars(chart, at.section, bars.with(at.index, decidedOn(changed, aspects)));
}

/** Letter or name of a section. */
export function withSection(chart, section, changes) {
  const whole = chart.sections[section];
  const changed = { letter: "", ...put(whole, changes) };
  if (isSame(changed, whole)) return chart;
  return { ...chart, sections: chart.sections.with(section, decidedOn(changed, Object.keys(changes))) };
}

/** A new section begins with bar `number`; the letters stay in order. */
export function split(chart, number) {
  const at = barAt(chart, number);
  if (!at?.index) return chart;
  const whole = chart.sections[at.section];
  const first = decidedOn({ ...whole, bars: whole.bars.slice(0, at.index) }, [PLACE]);
  const second = decidedOn({ letter: NEW, bars: whole.bars.slice(at.index) }, [PLACE]);
  return withSections(chart, chart.sections.toSpliced(at.section, 1, first, second));
}

/** The section of bar `number` joins the one before it. */
export function joined(chart, number) {
  const at = barAt(chart, number);
  if (!at?.section) return chart;
  const [one, two] = chart.sections.slice(at.section - 1, at.section + 1);
  const whole = decidedOn({ ...one, bars: [...one.bars, ...two.bars] }, [PLACE]);
  return withSections(chart, chart.sections.toSpliced(at.section - 1, 2, whole));
}

/** The section of bar `number` once more, right behind itself; its signs of the road stay with the first. */
export function copied(chart, number) {
  const at = barAt(chart, number);
  if (!at) return chart;
  const whole = chart.sections[at.section];
  const copy = decidedOn({ ...whole, bars: whole.bars.map((bar) => put(bar, { road: null })) }, [PLACE]);
  return withSections(chart, chart.sections.toSpliced(at.section + 1, 0, copy));
}

/** A bar of slashes behind bar `number`, in its meter. */
export function inserted(chart, number) {
  const at = barAt(chart, number);
  if (!at) return chart;
  const fresh = at.bar.meter ? { meter: at.bar.meter } : {};
  return placed(chart, at.section, chart.sections[at.section].bars.toSpliced(at.index + 1, 0, fresh));
}

export function removed(chart, number) {
  const at = barAt(chart, number);
  if (!at || barCount(chart) < 2) return chart;
  return placed(chart, at.section, chart.sections[at.section].bars.toSpliced(at.index, 1));
}

/** A hit of the band on `beat` of bar `number`; one that is there already goes. */
export function withHit(chart, number, beat, length = 0.5) {
  const at = barAt(chart, number);
  if (!at) return chart;
  const hits = at.bar.hits ?? [];
  const others = hits.filter((hit) => Math.abs(beatNumber(hit.beat) - beatNumber(beat)) > 1e-6);
  const now = others.length < hits.length ? others : inBeats([...hits, { beat, length }]);
  return withBar(chart, number, { hits: cutShort(now) }, "hits");
}

/** The hits of bar `number` on these beats and no others; those that were there keep their length and accent. */
export function withHits(chart, number, beats) {
  const at = barAt(chart, number);
  if (!at || !beats) return chart;
  const before = new Map((at.bar.hits ?? []).map((hit) => [beatNumber(hit.beat), hit]));
  const hits = [...new Set(beats)].map((beat) => before.get(beatNumber(beat)) ?? { beat, length: shortest(beat) });
  return withBar(chart, number, { hits: cutShort(inBeats(hits)) }, "hits");
}

/** The written rhythm of bar `number`; notes that were there keep their accent. A bar without any shows slashes. */
export function withRhythm(chart, number, notes) {
  const at = barAt(chart, number);
  if (!at || !notes) return chart;
  const isWritten = at.bar.shows === "rhythm";
  if (!notes.length && !isWritten) return chart;
  const before = new Map((isWritten ? (at.bar.notes ?? []) : []).map((note) => [beatNumber(note.beat), note]));
  const now = notes.map((note) => put(before.get(beatNumber(note.beat)) ?? {}, note));
  return withBar(chart, number, { shows: now.length ? "rhythm" : null, notes: now }, "content");
}

/** The strokes of one drum in bar `number`, on these beats and no others; those that were there keep how they are
 *  played. A bar without any stroke shows slashes. */
export function withStrokes(chart, number, voice, beats) {
  const at = barAt(chart, number);
  if (!at || !beats) return chart;
  const written = at.bar.shows === "drums" ? (at.bar.notes ?? []) : [];
  const before = new Map(written.filter((note) => note.voice === voice).map((note) => [beatNumber(note.beat), note]));
  const own = [...new Set(beats)].map((beat) => before.get(beatNumber(beat)) ?? { beat, voice });
  const notes = inBeats([...written.filter((note) => note.voice !== voice), ...own]);
  if (!notes.length && at.bar.shows !== "drums") return chart;
  return withBar(chart, number, { shows: notes.length ? "drums" : null, notes }, "content");
}

/** Signs of the road at bar `number`: {repeat_start, repeat_end, ending, segno, coda, to_coda, jump, fine}. */
export function withRoad(chart, number, changes) {
  const at = barAt(chart, number);
  if (!at) return chart;
  const road = put(at.bar.road ?? {}, changes);
  return withBar(chart, number, { road: Object.keys(road).length ? road : null }, "road");
}

/** The beat, in the meter's written unit, that lies `part` of the bar in: on the nearest sixteenth. Null where that is
 *  the next bar line. */
export function nearestBeat(meter, part) {
  const [upper, lower] = meter.split("/").map(Number);
  const steps = Math.max(1, 16 / lower);
  const place = Math.round(part * upper * steps);
  return place >= upper * steps ? null : 1 + place / steps;
}

/** Hits that run into the next one end where it begins. */
function cutShort(hits) {
  return hits.map((hit, at) => {
    const next = hits[at + 1];
    if (!next) return hit;
    const roomThirds = Math.round(12 * (beatNumber(next.beat) - beatNumber(hit.beat)));
    const isOver = 12 * beatNumber(hit.length ?? 0.5) > roomThirds;
    return isOver ? { ...hit, length: lengthJson(roomThirds) } : hit;
  });
}

function inBeats(hits) {
  return hits.toSorted((one, other) => beatNumber(one.beat) - beatNumber(other.beat));
}

/** An eighth; of a triplet one of its notes. */
function shortest(beat) {
  return String(beat).endsWith("/3") ? "1/3" : 0.5;
}

function placed(chart, section, bars) {
  if (!bars.length) return withSections(chart, chart.sections.toSpliced(section, 1));
  const changed = decidedOn({ ...chart.sections[section], bars }, [PLACE]);
  return { ...chart, sections: chart.sections.with(section, changed) };
}

function withSections(chart, sections) {
  return { ...chart, sections: relettered(sections) };
}

function withBars(chart, section, bars) {
  return { ...chart, sections: chart.sections.with(section, { ...chart.sections[section], bars }) };
}

/** What is null, false, empty or 0 is left out, as the house writes it. */
function put(one, changes) {
  const isThere = ([, value]) => Boolean(value) && !(Array.isArray(value) && !value.length);
  return Object.fromEntries(Object.entries({ ...one, ...changes }).filter(isThere));
}

function decidedOn(one, aspects) {
  return { ...one, decided: [...new Set([...(one.decided ?? []), ...aspects])].sort() };
}

/** Whether two charts, or parts of them, are the same, in whatever order their fields are written. */
export function isSame(one, other) {
  return JSON.stringify(inOrder(one)) === JSON.stringify(inOrder(other));
}

function inOrder(value) {
  if (Array.isArray(value)) return value.map(inOrder);
  if (value === null || typeof value !== "object") return value;
  const names = Object.keys(value).sort();
  return Object.fromEntries(names.map((name) => [name, inOrder(value[name])]));
}
