// A song's chart under the drummer's hands, keyboard first: bars in a grid, beside the sound and the engraved pages.
import { attach } from "kitpost/lib/attach";
import { BarForm, wrongWords } from "kitpost/chart/bar-form";
import { BAR_KEYS, barAfterKey, ChartGrid } from "kitpost/chart/grid";
import {
  barAt,
  barCount,
  copied,
  inserted,
  isSame,
  joined,
  meterOf,
  removed,
  split,
  withBar,
  withHit,
  withSection,
} from "kitpost/chart/edits";
import { keepPlace, placeAfterSave } from "kitpost/chart/after-save";
import { countedWords } from "kitpost/chart/counting";
import { faultOf, showFault } from "kitpost/chart/fault";
import { ChartLive } from "kitpost/chart/live";
import { lightOnPages } from "kitpost/chart/pages";
import { showSeen } from "kitpost/chart/seen";
import { hasModifier, workKey } from "kitpost/lib/modifiers";
import { History } from "kitpost/lib/history";
import { offerWords, unsavedChart } from "kitpost/chart/unsaved";

const TYPED_INTO = "input:not([type=checkbox]), textarea, select";

class ChartEditor {
  constructor(element) {
    this.element = element;
    this.start = JSON.parse(element.querySelector("#chart-start").textContent);
    this.seen = JSON.parse(element.querySelector("#chart-seen").textContent);
    const saved = placeAfterSave(element.dataset.chartNumber);
    this.history = new History(this.start, { past: saved?.past });
    this.chosen = Math.min(saved?.chosen ?? 1, barCount(this.start));
    this.said = element.querySelector("[data-chart-said]");
    this.grid = new ChartGrid(element.querySelector("[data-chart-grid]"), {
      onChoose: (number) => this.choose(number),
      onSection: (section, change) => this.take(withSection(this.chart, section, change)),
    });
    this.form = new BarForm(element.querySelector("[data-chart-bar]"), {
      onChange: (edit) => this.edit(edit),
      onWrong: (sentence) => this.say(sentence),
    });
    this.live = new ChartLive(this, saved?.headS);
    const { chartSong: song, chartNumber: began } = element.dataset;
    this.unsaved = unsavedChart({ storage: localStorage, song, began: Number(began), visit: Date.now() });
    this.listen();
    this.offer();
    this.show();
    if (saved) this.showSaved(saved.number);
  }

  get chart() {
    return this.history.now;
  }

  /** What a person calls written bar `number`: its numbers in the song. */
  labelOf(number) {
    return this.seen.labels[number] ?? number;
  }

  listen() {
    this.element.addEventListener("click", (event) => this.press(event.target.closest("[data-do]")?.dataset.do));
    this.onKey = (event) => this.key(event);
    document.addEventListener("keydown", this.onKey);
    this.element.querySelector("form").addEventListener("submit", (event) => {
      event.preventDefault();
      this.save(this.unsaved.began);
    });
  }

  /** An edit of the bar that has the focus: a function from chart, bar number and bar to the new chart. */
  edit(edit) {
    const changed = edit(this.chart, this.chosen, barAt(this.chart, this.chosen).bar);
    // What stands there already was typed once more: nothing to undo.
    if (changed !== this.chart) return this.take(changed);
    this.say("");
    this.show();
  }

  take(chart, said = "") {
    if (!this.history.take(chart)) return this.say("Not possible here.");
    this.say(said);
    this.changed();
  }

  changed() {
    this.chosen = Math.min(this.chosen, barCount(this.chart));
    this.keep();
    this.show();
    this.lookAt();
  }

  keep() {
    const typed = { note: this.element.querySelector("[name=note]").value };
    if (!this.unsaved.keep(this.history, typed, Date.now()))
      this.say("This browser cannot keep your work: save the chart before you leave the page.");
  }

  /** One question at a time, and always about the newest chart. */
  async lookAt() {
    this.isStale = true;
    if (this.isAsking) return;
    this.isAsking = true;
    try {
      while (this.isStale) {
        this.isStale = false;
        const answer = await this.send(this.element.dataset.chartTry, { chart: this.chart });
        const seen = await answer.json();
        this.fault = seen.error ? faultOf(seen.error, this.chart, (bar) => this.labelOf(bar)) : null;
        if (!seen.error) this.seen = seen;
      }
      this.show();
    } catch {
      this.say("The server does not answer. The chart is kept in this browser: try again in a moment.");
    } finally {
      this.isAsking = false;
    }
  }

  send(address, body) {
    const token = this.element.querySelector("[name=csrfmiddlewaretoken]").value;
    const headers = { "Content-Type": "application/json", "X-CSRFToken": token };
    return fetch(address, { method: "POST", headers, body: JSON.stringify(body) });
  }

  async save(seen) {
    const { wrong } = this.form;
    if (wrong) {
      wrong.focus();
      return this.say(`It is not saved: “${wrong.value}” cannot be there. ${wrongWords(wrong)}`);
    }
    this.keepButton.disabled = true;
    const note = this.element.querySelector("[name=note]").value;
    try {
      const answer = await this.send(this.element.dataset.chartSave, { chart: this.chart, seen, note });
      const said = await answer.json();
      if (!answer.ok) return this.refuse(said);
      this.unsaved.drop();
      const { chosen, history, live } = this;
      keepPlace({ number: String(said.number), chosen, headS: live.lanes?.headS, past: history.past });
      location.reload();
    } catch {
      this.say("The server does not answer. The chart is kept in this browser: try again in a moment.");
    } finally {
      this.keepButton.disabled = Boolean(this.fault);
    }
  }

  /** After the reload that a save ends with. */
  showSaved(number) {
    this.say(`Version ${number} is saved. Its pages are engraved next.`);
    this.grid.focus(this.chosen);
  }

  refuse({ error, newest }) {
    this.say(error);
    this.newest = newest ?? null;
    this.element.querySelector("[data-chart-conflict]").hidden = newest === undefined;
  }

  get keepButton() {
    return this.element.querySelector("[data-chart-keep]");
  }

  press(what) {
    const at = this.chosen;
    const doings = {
      undo: () => this.step("undo"),
      redo: () => this.step("redo"),
      split: () => this.take(split(this.chart, at)),
      join: () => this.take(joined(this.chart, at)),
      copy: () => this.take(copied(this.chart, at)),
      insert: () => this.take(inserted(this.chart, at)),
      remove: () => this.take(removed(this.chart, at)),
      repeat: () => this.edit((chart, number, bar) => this.turnRepeat(chart, number, bar)),
      "no-hits": () => this.take(withBar(this.chart, at, { hits: null }, "hits")),
      hit: () => this.tapHit(),
      play: () => this.live.playOrPause(),
      "from-here": () => this.live.seekTo(at) || this.say("This bar is not played, or the lanes are not there yet."),
      again: () => this.takeUp(),
      leave: () => this.leaveOffer(),
      "save-over": () => this.save(this.newest),
    };
    doings[what]?.();
  }

  turnRepeat(chart, number, bar) {
    return withBar(chart, number, { shows: bar.shows === "repeat-1" ? null : "repeat-1", notes: null }, "content");
  }

  tapHit() {
    const found = this.live.tapped(this.chart);
    if (!found) return this.say("Play the song, and tap where the band hits.");
    const { number, beat } = found;
    const meter = meterOf(this.chart, barAt(this.chart, number).bar);
    this.take(withHit(this.chart, number, beat), `Bar ${this.labelOf(number)}: hit on ${countedWords(meter, beat)}.`);
  }

  step(which) {
    if (!this.history[which]()) return this.say(which === "undo" ? "Nothing to undo." : "Nothing to redo.");
    this.say("");
    this.changed();
  }

  key(event) {
    const what = workKey(event);
    if (what) return this.workByKey(event, what);
    if (event.target.matches?.("[data-chart-grid] [data-bar]") && !hasModifier(event)) this.keyOnBar(event);
  }

  /** A field has an undo of its own; what is being typed belongs to what is saved. */
  workByKey(event, what) {
    const isTyping = event.target.matches?.(TYPED_INTO);
    if (isTyping && what !== "save") return;
    event.preventDefault();
    if (what !== "save") return this.step(what);
    if (isTyping) event.target.blur();
    if (!this.keepButton.disabled) this.save(this.unsaved.began);
  }

  keyOnBar(event) {
    const next = barAfterKey(event.key, this.chosen, barCount(this.chart));
    const what = BAR_KEYS[event.key];
    if (next === null && !what) return;
    event.preventDefault();
    event.stopPropagation();
    if (next === null) this.press(what);
    else this.grid.focus(next);
  }

  choose(number) {
    if (number === this.chosen) return;
    const lost = this.form.wrong?.value;
    if (lost !== undefined) this.say(`Bar ${this.labelOf(this.chosen)}: “${lost}” was not taken.`);
    this.chosen = number;
    this.grid.choose(number);
    this.form.show(this.chart, number, this.labelOf(number), barAt(this.chart, number).bar);
  }

  lightBar(number) {
    if (number === this.grid.lit) return;
    this.grid.light(number);
    lightOnPages(number);
  }

  show() {
    const { seen, chosen, fault } = this;
    showSeen(this.element, seen);
    showFault(this.element, fault);
    this.keepButton.disabled = Boolean(fault);
    this.grid.show(this.chart, { chosen, ...seen, problems: [...seen.problems, ...(fault ? [fault] : [])] });
    this.form.show(this.chart, chosen, this.labelOf(chosen), barAt(this.chart, chosen).bar);
    this.element.querySelector("[data-chart-state]").textContent = isSame(this.chart, this.start)
      ? `Version ${this.element.dataset.chartNumber}.`
      : "Not saved yet.";
  }

  /** What an earlier visit left in this browser. */
  offer() {
    this.found = this.unsaved.offer(this.start);
    if (!this.found) return;
    this.element.querySelector("[data-chart-offer-text]").textContent = offerWords(this.found, this.unsaved.began);
    this.element.querySelector("[data-chart-offer]").hidden = false;
  }

  takeUp() {
    const { now, past, future, note, began } = this.found;
    this.history = new History(now, { past, future });
    this.unsaved.began = began;
    this.element.querySelector("[name=note]").value = note ?? "";
    this.leaveOffer();
    this.changed();
    this.say("The chart is restored, with its undo steps.");
  }

  leaveOffer() {
    this.unsaved.drop(this.found.key);
    this.element.querySelector("[data-chart-offer]").hidden = true;
    this.grid.focus(this.chosen);
  }

  say(text) {
    this.said.textContent = text;
  }

  leaveThePage() {
    this.live.leave();
    document.removeEventListener("keydown", this.onKey);
  }
}

attach("[data-chart-editor]", (element) => {
  const editor = new ChartEditor(element);
  return () => editor.leaveThePage();
});
