// What was changed on a map and not approved, kept in this browser: a closed laptop or a reload loses nothing.
//
// Each visit to the page keeps under a key of its own, so that two tabs never write over each other.
import { bpmOf, written } from "kitpost/map/edits";

const PREFIX = "kitpost-map-";
// Of the steps of one visit. A browser has some five million characters for all maps of a house.
const MOST_CHARACTERS = 250_000;
const SAME = 1e-6;

export class Unsaved {
  constructor({ storage, song, began, visit }) {
    this.storage = storage;
    this.own = `${PREFIX}${song}-${visit}`;
    this.family = `${PREFIX}${song}-`;
    this.began = began;
  }

  /** Keep the map with its newest steps, and what is typed beside it; false where the browser keeps nothing. */
  keep({ past, now, future }, { note, countIn }, atMs) {
    // Where there is no room for steps, the map alone may find some.
    return [MOST_CHARACTERS, 0].some((room) => {
      const kept = newest(past, room);
      const rest = newest(future, room - JSON.stringify(kept).length);
      return this.write({ began: this.began, now, past: kept, future: rest, note, countIn, atMs });
    });
  }

  write(kept) {
    try {
      this.storage.setItem(this.own, JSON.stringify(kept));
      return true;
    } catch {
      return false;
    }
  }

  /** The newest that earlier visits left and that is not the map `start`; what is that map is kept no longer. */
  offer(start) {
    const isHere = ({ now }) => isSame(now, start);
    for (const { key } of this.left().filter(isHere)) this.drop(key);
    return this.left().sort((a, b) => b.atMs - a.atMs)[0] ?? null;
  }

  /** The steps with which an earlier visit left the map `now`. */
  stepsOf(now) {
    const { past = [], future = [] } = this.left().find((one) => isSame(one.now, now)) ?? {};
    return { past, future };
  }

  left() {
    const keys = Object.keys(this.storage).filter((key) => key.startsWith(this.family) && key !== this.own);
    return keys.map((key) => ({ key, ...read(this.storage, key) })).filter(({ now }) => now?.anchors?.length);
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

/** The newest, which are the last, that fit into `room` characters. */
function newest(steps, room) {
  let left = room;
  const tooMuch = steps.findLastIndex((step) => (left -= JSON.stringify(step).length) < 0);
  return steps.slice(tooMuch + 1);
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

/** How long ago, without a clock or a zone: "just now", "12 minutes ago", "3 hours ago", "2 days ago". */
export function agoWords(ms) {
  const minutes = Math.floor(ms / 60_000);
  if (minutes < 1) return "just now";
  const [count, unit] =
    minutes < 60
      ? [minutes, "minute"]
      : minutes < 48 * 60
        ? [Math.floor(minutes / 60), "hour"]
        : [Math.floor(minutes / 1440), "day"];
  return `${count} ${unit}${count === 1 ? "" : "s"} ago`;
}
