// The map page's tie to the lanes: the map that is being made is heard there, its view and its head are shown here, and
// what a person means while it plays is taken by the moment that was heard.
import { barAt, lineOf, moved, nearestLine } from "kitpost/map/edits";
import { withTaps } from "kitpost/map/taps";
import { clock } from "kitpost/lib/bars";
import { parseNumber } from "kitpost/lib/parse-number";

const REST_LEAST_MS = 1500;
const REST_MOST_MS = 8000;
// A run of taps ends after this many times the last gap: one missed bar is no end.
const REST_GAPS = 3.2;
const PRESS_IS_NEW_MS = 1000;

export class MapLive {
  constructor(editor) {
    this.editor = editor;
    this.element = document.querySelector("[data-lanes]");
    this.view = null;
    this.headS = null;
    this.taps = [];
    this.pressedMs = 0;
    this.onView = (event) => this.follow(event.detail);
    this.onPress = (event) => this.press(event);
    document.addEventListener("lanes:view", this.onView);
    for (const kind of ["keydown", "pointerdown"]) document.addEventListener(kind, this.onPress, true);
    if (this.element) for (const part of editor.element.querySelectorAll("[data-map-live]")) part.hidden = false;
  }

  get lanes() {
    return this.element?.lanes ?? null;
  }

  /** Let the lanes draw and click by this map, from now on. */
  tell({ bars, beats_s: beatsS }) {
    this.told = { bars, beats_s: beatsS };
    document.dispatchEvent(new CustomEvent("lanes:map", { detail: this.told }));
  }

  follow({ startS, endS, headS }) {
    const isFirst = !this.view;
    [this.view, this.headS] = [{ startS, endS }, headS];
    // A map told before the lanes were there is told again.
    if (isFirst && this.told) this.tell(this.told);
    this.editor.ask();
  }

  seek(timeS) {
    this.lanes?.seek(timeS);
  }

  /** One of the lanes' own buttons. */
  zoom(what) {
    this.element?.querySelector(`[data-lanes-do="${what}"]`)?.click();
  }

  /** When a key or finger went down, not when the page came to it. */
  press(event) {
    this.pressedMs = event.timeStamp;
  }

  /** The moment of the song meant by what was just pressed; null where the lanes have none. */
  meantS() {
    const nowMs = performance.now();
    const atMs = nowMs - this.pressedMs < PRESS_IS_NEW_MS ? this.pressedMs : nowMs;
    return this.element?.songTimeAt?.(atMs) ?? this.lanes?.headS ?? this.headS;
  }

  /** The nearest bar line, or bar one, comes to lie at the head; the whole map with it. */
  beatOneHere(isBarOne) {
    const { bars } = this.editor.seen;
    const timeS = this.meantS();
    const line = timeS === null ? null : isBarOne ? lineOf(bars, 1) : nearestLine(bars, timeS);
    if (!line) return this.editor.say("The lanes are not there yet.");
    const byMs = Math.round((timeS - line.time_s) * 1000);
    const byWords = `${Math.abs(byMs)} ms, ${byMs < 0 ? "earlier" : "later"}`;
    const said = `Bar ${line.bar} begins at ${clock(timeS, 3)}: the whole map moved by ${byWords}.`;
    this.editor.take(moved(this.editor.state, 0, timeS - line.time_s, true), said);
  }

  barHere() {
    const bar = parseNumber(this.editor.field("bar-here").value);
    const timeS = this.meantS();
    if (timeS === null || !Number.isInteger(bar)) return this.editor.say("Enter the bar number first.");
    this.editor.take(barAt(this.editor.state, bar, timeS), `Bar ${bar} begins at ${clock(timeS, 3)}.`);
  }

  tap() {
    const nowMs = this.pressedMs;
    const timeS = this.element?.songTimeAt?.(nowMs) ?? null;
    if (timeS === null) return this.editor.say("Start playback first (P), then tap on beat one of each bar.");
    const gapMs = this.taps.length ? nowMs - this.lastMs : REST_MOST_MS;
    this.taps.push(timeS);
    this.lastMs = nowMs;
    const taps = `${this.taps.length} ${this.taps.length === 1 ? "tap" : "taps"}`;
    this.editor.say(`${taps}: the map updates when you stop tapping.`);
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.endTaps(), Math.min(Math.max(REST_LEAST_MS, REST_GAPS * gapMs), REST_MOST_MS));
    this.editor.ask();
  }

  endTaps() {
    clearTimeout(this.timer);
    const { taps } = this;
    this.taps = [];
    if (!taps.length) return this.editor.say("No taps yet.");
    const { state, said } = withTaps(this.editor.state, taps, this.editor.seen);
    this.editor.take(state, said);
  }

  leave() {
    clearTimeout(this.timer);
    document.removeEventListener("lanes:view", this.onView);
    for (const kind of ["keydown", "pointerdown"]) document.removeEventListener(kind, this.onPress, true);
  }
}
