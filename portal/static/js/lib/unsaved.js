// What was changed and not saved in the house, kept in this browser: a closed laptop or a reload loses nothing.
//
// Each visit to a page keeps under a key of its own, so that two tabs never write over each other.

// Of the steps of one visit. A browser has some five million characters for all songs of a house.
const MOST_CHARACTERS = 250_000;

export class Unsaved {
  /** `began`: the version that the work began from. `isOne`: whether something kept is of this kind; `isSame`: whether
   *  two of them are one once they are saved. */
  constructor({ storage, kind, song, began, visit, isOne, isSame }) {
    Object.assign(this, { storage, began, isOne, isSame });
    this.family = `kitpost-${kind}-${song}-`;
    this.own = `${this.family}${visit}`;
  }

  /** Keep the work with its newest steps, and what is typed beside it; false where the browser keeps nothing. */
  keep({ past, now, future }, typed, atMs) {
    // Where there is no room for steps, the work alone may find some.
    return [MOST_CHARACTERS, 0].some((room) => {
      const kept = newest(past, room);
      const rest = newest(future, room - JSON.stringify(kept).length);
      return this.write({ began: this.began, now, past: kept, future: rest, ...typed, atMs });
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

  /** The newest that earlier visits left and that is not `start`; what is that is kept no longer. */
  offer(start) {
    const isHere = ({ now }) => this.isSame(now, start);
    for (const { key } of this.left().filter(isHere)) this.drop(key);
    return this.left().sort((a, b) => b.atMs - a.atMs)[0] ?? null;
  }

  /** The steps with which an earlier visit left `now`. */
  stepsOf(now) {
    const { past = [], future = [] } = this.left().find((one) => this.isSame(one.now, now)) ?? {};
    return { past, future };
  }

  left() {
    const keys = Object.keys(this.storage).filter((key) => key.startsWith(this.family) && key !== this.own);
    return keys.map((key) => ({ key, ...read(this.storage, key) })).filter(({ now }) => this.isOne(now));
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
