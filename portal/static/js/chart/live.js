// The chart's tie to the lanes: the bar that plays is lit, a bar is played from, and a hit is tapped in time.
import { barAt, meterOf, nearestBeat } from "kitpost/chart/edits";
import { barIndexAt, barLengthS, SAME_PLACE_S } from "kitpost/lib/bars";

const PRESS_IS_NEW_MS = 1000;

export class ChartLive {
  /** `resumeS`: where the player stood before the page was loaded anew, if it did. */
  constructor(editor, resumeS = null) {
    this.editor = editor;
    this.resumeS = resumeS;
    this.element = document.querySelector("[data-lanes]");
    this.pressedMs = 0;
    this.onView = () => this.follow();
    this.onPress = (event) => (this.pressedMs = event.timeStamp);
    document.addEventListener("lanes:view", this.onView);
    for (const kind of ["keydown", "pointerdown"]) document.addEventListener(kind, this.onPress, true);
    for (const part of editor.element.querySelectorAll("[data-chart-live]")) part.hidden = !this.element;
  }

  get lanes() {
    return this.element?.lanes ?? null;
  }

  get bars() {
    return this.lanes?.song.bars ?? [];
  }

  /** {written, part}: the written bar that plays at `timeS`, and how much of it has passed; null where none does. */
  placeAt(timeS) {
    const at = barIndexAt(this.bars, timeS);
    if (at < 0) return null;
    const { order, first_bar: first } = this.editor.seen;
    const written = order[this.bars[at].bar - first];
    const lengthS = barLengthS(this.bars, at);
    return written && lengthS ? { written, part: (timeS - this.bars[at].time_s) / lengthS } : null;
  }

  follow() {
    if (!this.lanes) return;
    const { resumeS } = this;
    this.resumeS = null;
    if (resumeS !== null) this.lanes.seekShown(resumeS);
    this.editor.lightBar(this.placeAt(this.lanes.headS + SAME_PLACE_S)?.written ?? null);
  }

  /** When a key or finger went down, not when the page came to it. */
  meantS() {
    const nowMs = performance.now();
    const atMs = nowMs - this.pressedMs < PRESS_IS_NEW_MS ? this.pressedMs : nowMs;
    return this.element?.songTimeAt?.(atMs) ?? this.lanes?.headS ?? null;
  }

  /** The bar and beat that were meant by what was just pressed. */
  tapped(chart) {
    const timeS = this.meantS();
    const place = timeS === null ? null : this.placeAt(timeS);
    if (!place) return null;
    const at = barAt(chart, place.written);
    const beat = at && nearestBeat(meterOf(chart, at.bar), place.part);
    if (beat) return { number: place.written, beat };
    const next = this.placeAt(timeS + 0.25 * (barLengthS(this.bars, 0) ?? 1));
    return next ? { number: next.written, beat: 1 } : null;
  }

  /** From the first time that written bar `number` is played. */
  seekTo(number) {
    const [bar] = this.editor.seen.song_bars[number] ?? [];
    const line = this.bars.find((one) => one.bar === bar);
    if (!line) return false;
    this.lanes.seekShown(line.time_s);
    return true;
  }

  playOrPause() {
    this.element?.querySelector('[data-lanes-do="play"]')?.click();
  }

  leave() {
    document.removeEventListener("lanes:view", this.onView);
    for (const kind of ["keydown", "pointerdown"]) document.removeEventListener(kind, this.onPress, true);
  }
}
