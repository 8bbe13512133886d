// The tempo map under the drummer's hands: a table of anchors, and under the bar ruler every attack as a dot, as far
// above or below the line as it is early or late. A handle on the line is an anchor: pulled up or down, it moves in
// milliseconds.
import { attach } from "kitpost/lib/attach";
import { clock, placeText } from "kitpost/lib/bars";
import {
  added,
  doubled,
  freed,
  freeing,
  halved,
  inMeter,
  inTempo,
  lineOf,
  moved,
  placed,
  ramping,
  removed,
  turned,
  withOddBar,
} from "kitpost/map/edits";
import { History } from "kitpost/lib/history";
import { listenToPointer } from "kitpost/map/pointer";
import { MapLive } from "kitpost/map/live";
import { MapPicture } from "kitpost/map/picture";
import { AnchorTable, signed } from "kitpost/map/table";
import { Offer } from "kitpost/map/offer";
import { unsavedMap } from "kitpost/map/unsaved";
import { parseNumber } from "kitpost/lib/parse-number";

const REACHES_MS = [10, 25, 50, 125];
const TYPED_INTO = "input:not([type=checkbox], [type=range]), textarea";

class MapEditor {
  constructor(element) {
    this.element = element;
    this.start = JSON.parse(element.querySelector("#map-start").textContent);
    this.history = new History(this.start);
    this.seen = JSON.parse(element.querySelector("#map-seen").textContent);
    this.chosen = 0;
    this.isPulled = false;
    this.reachMs = 50;
    this.rateHz = Number(element.dataset.mapRate) || 48000;
    this.canvas = element.querySelector("canvas");
    this.said = element.querySelector("[data-map-said]");
    this.picture = new MapPicture(this.canvas);
    this.table = new AnchorTable(element.querySelector("[data-map-rows]"), {
      onChange: (...change) => this.changeRow(...change),
      onChoose: (at) => this.choose(at),
    });
    this.live = new MapLive(this);
    const { mapSong: song, mapBegan: began } = element.dataset;
    this.unsaved = unsavedMap({ storage: localStorage, song, began: Number(began), visit: Date.now() });
    this.element.addEventListener("click", (event) => this.press(event.target.closest("button[data-do]")));
    this.onKey = (event) => this.key(event);
    document.addEventListener("keydown", this.onKey);
    listenToPointer(this);
    this.observer = new ResizeObserver(() => this.ask());
    this.observer.observe(this.canvas);
    // A map that was refused is kept before another is offered: what is kept already is not thrown away for it.
    this.offer = new Offer(element, this.unsaved);
    if (!("mapConflict" in element.dataset) || this.resume()) this.offer.make(this.start);
    this.writeDown();
    this.show();
  }

  get state() {
    return this.history.now;
  }

  field(name) {
    return this.element.querySelector(`[name="${name}"]`);
  }

  /** One step that can be undone, and what is said of it. */
  take(state, said = "") {
    if (!this.history.take(state)) return this.say("Not possible here.");
    this.say(said);
    this.changed();
  }

  /** While a handle is pulled: seen, and no step yet. */
  lookAt(state) {
    this.history.now = state;
    this.ask();
    this.tryIt();
  }

  changed() {
    this.chosen = Math.min(this.chosen, this.state.anchors.length - 1);
    this.writeDown();
    this.keep();
    this.tryIt();
  }

  keep() {
    const typed = { note: this.field("note").value, countIn: this.field("count-in").value };
    const isKept = this.unsaved.keep(this.history, typed, Date.now());
    if (!isKept) this.say("This browser cannot save your work: approve the map before you leave the page.");
    return isKept;
  }

  /** A map that was refused at the press goes on with the steps that led to it. */
  resume() {
    this.history = new History(this.start, this.unsaved.stepsOf(this.start));
    return this.keep();
  }

  writeDown() {
    this.field("map").value = JSON.stringify(this.state);
  }

  /** One question at a time, and always about the newest map: under the hand the answers follow as fast as they
   *  come. */
  async tryIt() {
    this.isStale = true;
    if (this.isAsking) return;
    this.isAsking = true;
    try {
      while (this.isStale) {
        this.isStale = false;
        await this.askServer();
      }
    } catch {
      this.say("The server does not answer. The map is saved in this browser: try again in a moment.");
    } finally {
      this.isAsking = false;
    }
  }

  async askServer() {
    const headers = { "Content-Type": "application/json", "X-CSRFToken": this.field("csrfmiddlewaretoken").value };
    const answer = await fetch(this.element.dataset.mapTry, {
      method: "POST",
      headers,
      body: JSON.stringify(this.state),
    });
    const seen = await answer.json();
    this.element.querySelector("[data-map-keep]").disabled = Boolean(seen.error);
    if (seen.error) return this.say(seen.error);
    this.seen = seen;
    this.show();
    this.live.tell(seen);
  }

  press(button) {
    if (!button) return;
    const by = Number(button.dataset.by);
    const doings = {
      undo: () => this.stepBack("undo"),
      redo: () => this.stepBack("redo"),
      larger: () => this.larger(),
      "beat-one": () => this.live.beatOneHere(false),
      "bar-one": () => this.live.beatOneHere(true),
      here: () => this.live.barHere(),
      tap: () => this.live.tap(),
      taps: () => this.live.endTaps(),
      lanes: () => this.live.zoom(button.dataset.by),
      again: () => this.takeUp(),
      leave: () => this.leaveOffer(),
    };
    const what = button.dataset.do;
    if (doings[what]) return doings[what]();
    this.take(this.edits(by)[what]());
    if (what === "add")
      this.choose(this.state.anchors.findIndex((anchor) => anchor.bar === parseNumber(this.field("bar").value)));
  }

  edits(by) {
    const stretch = this.seen.stretches[this.chosen] ?? this.seen.stretches.at(-1);
    const all = this.field("all").checked;
    const number = (name) => parseNumber(this.field(name).value);
    const shifted = (byS) => moved(this.state, this.chosen, byS, all);
    return {
      ms: () => shifted(by / 1000),
      sample: () => shifted(by / this.rateHz),
      sixteenth: () => shifted((by * stretch.beat_s) / 4),
      beat: () => shifted(by * stretch.beat_s),
      onto: () => shifted((stretch.late_ms ?? 0) / 1000),
      turn: () => turned(this.state, by, this.seen.stretches),
      double: () => doubled(this.state),
      half: () => halved(this.state),
      add: () => this.atBar(number("bar"), (line) => added(this.state, line.bar, line.time_s)),
      pickup: () =>
        this.atBar(Math.min(1, this.state.anchors[0].bar) - 1, (line) => added(this.state, line.bar, line.time_s)),
      odd: () =>
        this.atBar(number("bar"), (line, beatS) =>
          withOddBar(this.state, line.bar, this.field("odd-meter").value.trim(), line.time_s, beatS),
        ),
      free: () => freed(this.state, number("free-from"), number("free-to"), this.seen.bars),
      remove: () => removed(this.state, this.chosen),
    };
  }

  atBar(bar, edit) {
    const [line, next] = [lineOf(this.seen.bars, bar), lineOf(this.seen.bars, bar + 1)];
    if (!line) return this.state;
    return edit(line, next ? (next.time_s - line.time_s) / line.beats : this.seen.stretches.at(-1).beat_s);
  }

  stepBack(which) {
    if (!this.history[which]()) return this.say(which === "undo" ? "Nothing to undo." : "Nothing to redo.");
    this.say("");
    this.changed();
  }

  larger() {
    this.reachMs = REACHES_MS[(REACHES_MS.indexOf(this.reachMs) + REACHES_MS.length - 1) % REACHES_MS.length];
    this.ask();
  }

  changeRow(at, of, value) {
    const edits = {
      time: () => placed(this.state, at, parseNumber(value)),
      meter: () => inMeter(this.state, at, value),
      ramps: () => ramping(this.state, at, value),
      free: () => freeing(this.state, at, value),
      bpm: () => inTempo(this.state, parseNumber(value)),
    };
    this.take(edits[of]());
    this.showRows(true);
  }

  choose(at) {
    if (!Number.isInteger(at) || at < 0 || at === this.chosen) return;
    this.chosen = at;
    this.table.choose(at);
    this.ask();
  }

  /** Undo and redo wherever the hands are, but in a field whose own undo they mean. */
  key(event) {
    if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" || event.target.matches?.(TYPED_INTO))
      return;
    event.preventDefault();
    this.stepBack(event.shiftKey ? "redo" : "undo");
  }

  takeUp() {
    const { now, past, future, note, countIn } = this.offer.found;
    this.history = new History(now, { past, future });
    this.field("note").value = note;
    this.field("count-in").value = countIn ?? "";
    this.changed();
    this.leaveOffer();
    this.say("The map is restored, with its undo steps.");
  }

  leaveOffer() {
    this.offer.drop();
    this.canvas.focus({ preventScroll: true });
  }

  say(text) {
    this.said.textContent = text;
  }

  show() {
    this.showRows();
    const spread = this.seen.spread_ms;
    this.element.querySelector("[data-map-spread]").textContent =
      spread === null ? "no attacks to hold it against" : `half of all attacks lie within ${spread} ms`;
    this.ask();
  }

  showRows(fresh = false) {
    this.table.show({ anchors: this.state.anchors, stretches: this.seen.stretches, chosen: this.chosen, fresh });
  }

  /** Draw before the next frame of the screen, once. */
  ask() {
    this.asked ??= requestAnimationFrame(() => {
      this.asked = null;
      this.draw();
    });
  }

  draw() {
    const anchor = this.state.anchors[this.chosen];
    const [{ view, headS, taps }, { seen, chosen, reachMs }] = [this.live, this];
    this.picture.draw({ seen, anchors: this.state.anchors, chosen, reachMs, view, headS, taps });
    this.element.querySelector("[data-map-where]").textContent =
      `bar ${anchor.bar} at ${clock(anchor.time_s, 3)}; ${this.reachMs} ms up to early, down to late`;
    const place = placeText(this.seen.bars, anchor.time_s + 1e-6);
    const late = signed(this.seen.stretches[this.chosen]?.late_ms);
    this.canvas.setAttribute("aria-label", `The playing against the map. Selected: ${place}, ${late}.`);
  }

  leaveThePage() {
    this.observer.disconnect();
    this.live.leave();
    document.removeEventListener("keydown", this.onKey);
  }
}

attach("[data-map-editor]", (element) => {
  const editor = new MapEditor(element);
  return () => editor.leaveThePage();
});
