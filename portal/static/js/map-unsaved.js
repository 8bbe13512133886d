// What was changed on a map and not approved, kept in this browser: a closed laptop or a reload loses nothing.
//
// Each visit to the page keeps under a key of its own, so that two tabs never write over each other.
import { bpmOf } from "kitpost/map-edits";

const PREFIX = "kitpost-map-";
const MOST_STEPS = 60;
const SAME_S = 1e-6;

export class Unsaved {
  constructor({ storage, song, began, visit }) {
    this.storage = storage;
    this.own = `${PREFIX}${song}-${visit}`;
    this.family = `${PREFIX}${song}-`;
    this.began = began;
  }

  /** Keep the map with its steps; false where the browser keeps nothing. */
  keep({ past, now, future }, note, atMs) {
    const kept = { began: this.began, now, past: past.slice(-MOST_STEPS), future: future.slice(-MOST_STEPS), note, atMs };
    try {
      this.storage.setItem(this.own, JSON.stringify(kept));
      return true;
    } catch {
      return false;
    }
  }

  /** The newest that earlier visits left and that is neither the map `start` nor the one that was approved from it. */
  offer({ start, bars }) {
    const keys = Object.keys(this.storage).filter((key) => key.startsWith(this.family) && key !== this.own);
    const offers = keys.map((key) => ({ key, ...read(this.storage, key) })).filter(({ now }) => now?.anchors?.length);
    for (const offer of offers) if (offer.began !== this.began && lies(offer.now, start, bars)) this.drop(offer.key);
    const open = offers.filter((offer) => this.storage.getItem(offer.key) !== null && !isSame(offer.now, start));
    return open.sort((a, b) => b.atMs - a.atMs)[0] ?? null;
  }

  drop(key = this.own) {
    this.storage.removeItem(key);
  }
}

function read(storage, key) {
  try {
    return JSON.parse(storage.getItem(key));
  } catch {
    return null;
  }
}

function isSame(one, other) {
  const plain = ({ anchors, last_bpm: bpm }) => JSON.stringify([anchors.map((anchor) => [anchor.bar, anchor.time_s, anchor.meter, Boolean(anchor.ramps), Boolean(anchor.free)]), String(bpm)]);
  return plain(one) === plain(other);
}

/** Whether a map made from an older version is the one that is approved now: all its anchors lie on it. */
function lies(state, start, bars) {
  const times = new Map([...start.anchors, ...bars].map((line) => [line.bar, line.time_s]));
  return Math.abs(bpmOf(state) - bpmOf(start)) < SAME_S && state.anchors.every((anchor) => Math.abs((times.get(anchor.bar) ?? Infinity) - anchor.time_s) < SAME_S);
}
