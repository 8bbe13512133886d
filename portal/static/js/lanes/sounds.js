// What is drawn of the lanes' sound: their pictures, their close-ups and where their attacks are.
import { onsetsOf } from "kitpost/lanes/residual";
import { LaneSound } from "kitpost/lanes/sound";

const CLOSE_UP_AFTER_MS = 90;
// Weaker attacks are no fixed points when it plays slower: they may be noise.
const FIRM = 0.15;

export function firmAttacks(onsets) {
  return onsets.filter((one) => one.strength >= FIRM).map((one) => one.timeS);
}

export class Sounds {
  /** `onNews` is called when there is something new to draw. */
  constructor(lanes, onNews) {
    this.lanes = lanes;
    this.onNews = onNews;
    this.each = lanes.map((lane) => new LaneSound(lane));
    this.onsets = lanes.map(() => []);
  }

  /** The pictures of all files, each drawn as it comes; one that does not come holds up none. */
  async loadPictures() {
    await Promise.allSettled(this.each.map((sound) => sound.load().then(() => this.onNews())));
  }

  async loadOnsets() {
    this.onsets = await Promise.all(this.lanes.map(onsetsOf));
    this.onNews();
  }

  get firmAttacksS() {
    return this.onsets.map(firmAttacks);
  }

  /** Finer sound for a view that stays for a moment. */
  askCloseUp({ startS, endS }, width) {
    clearTimeout(this.timer);
    this.timer = setTimeout(async () => {
      const news = await Promise.all(this.each.map((sound) => sound.closeUp(startS, endS, width)));
      if (news.some(Boolean)) this.onNews();
    }, CLOSE_UP_AFTER_MS);
  }
}
