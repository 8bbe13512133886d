// The tempo map under the drummer's hands: a table of anchors, and under the bar ruler every attack as a dot, as far above or
// below the line as it is early or late. A handle on the line is an anchor: pulled up or down, it moves in milliseconds.
import { attach } from "kitpost/attach";
import { clock, placeText } from "kitpost/bars";
import { added, doubled, halved, History, inMeter, inTempo, moved, placed, ramping, removed, turned, withOddBar } from "kitpost/map-edits";
import { HANDLE_PX, MapPicture } from "kitpost/map-picture";

const TRY_AFTER_MS = 60;
const REACHES_MS = [10, 25, 50, 125];

class MapEditor {
  constructor(element) {
    this.element = element;
    this.history = new History(JSON.parse(element.querySelector("#map-start").textContent));
    this.seen = JSON.parse(element.querySelector("#map-seen").textContent);
    this.chosen = 0;
    this.reachMs = 50;
    this.rateHz = Number(element.dataset.mapRate) || 48000;
    this.canvas = element.querySelector("canvas");
    this.rows = element.querySelector("[data-map-rows]");
    this.said = element.querySelector("[data-map-said]");
    this.element.addEventListener("click", (event) => this.press(event.target.closest("button[data-do]")));
    this.rows.addEventListener("change", (event) => this.changeRow(event.target));
    this.rows.addEventListener("focusin", (event) => this.choose(Number(event.target.closest("tr")?.dataset.at)));
    this.element.addEventListener("keydown", (event) => this.key(event));
    this.canvas.addEventListener("pointerdown", (event) => this.grab(event));
    this.picture = new MapPicture(this.canvas);
    this.observer = new ResizeObserver(() => this.draw());
    this.observer.observe(this.canvas);
    this.writeDown();
    this.show();
  }

  get state() {
    return this.history.now;
  }

  take(state) {
    if (!this.history.take(state)) return this.say("That cannot be done here.");
    this.say("");
    this.changed();
  }

  changed() {
    this.chosen = Math.min(this.chosen, this.state.anchors.length - 1);
    this.writeDown();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.tryIt(), TRY_AFTER_MS);
  }

  writeDown() {
    this.field("map").value = JSON.stringify(this.state);
  }

  async tryIt() {
    this.asking?.abort();
    this.asking = new AbortController();
    const headers = { "Content-Type": "application/json", "X-CSRFToken": this.element.querySelector("[name=csrfmiddlewaretoken]").value };
    try {
      const answer = await fetch(this.element.dataset.mapTry, { method: "POST", headers, body: JSON.stringify(this.state), signal: this.asking.signal });
      const seen = await answer.json();
      this.isWrong = Boolean(seen.error);
      if (seen.error) return this.say(seen.error);
      this.seen = seen;
      this.show();
    } catch (error) {
      if (error.name !== "AbortError") this.say("The server does not answer: nothing is lost, try again in a moment.");
    } finally {
      this.element.querySelector("[data-map-keep]").disabled = Boolean(this.isWrong);
    }
  }

  press(button) {
    if (!button) return;
    const by = Number(button.dataset.by);
    const stretch = this.seen.stretches[this.chosen] ?? this.seen.stretches.at(-1);
    const all = this.element.querySelector("[name=all]").checked;
    const doings = {
      ms: () => moved(this.state, this.chosen, by / 1000, all),
      sample: () => moved(this.state, this.chosen, by / this.rateHz, all),
      sixteenth: () => moved(this.state, this.chosen, (by * stretch.beat_s) / 4, all),
      beat: () => moved(this.state, this.chosen, by * stretch.beat_s, all),
      onto: () => moved(this.state, this.chosen, (stretch.late_ms ?? 0) / 1000, all),
      turn: () => turned(this.state, by, this.seen.stretches),
      double: () => doubled(this.state),
      half: () => halved(this.state),
      add: () => this.atBar((bar, line) => added(this.state, bar, line.time_s)),
      odd: () => this.atBar((bar, line, beatS) => withOddBar(this.state, bar, this.field("odd-meter").value.trim(), line.time_s, beatS)),
      remove: () => removed(this.state, this.chosen),
    };
    if (button.dataset.do === "undo") return this.stepBack("undo");
    if (button.dataset.do === "redo") return this.stepBack("redo");
    if (button.dataset.do === "closer") return this.closer();
    this.take(doings[button.dataset.do]());
  }

  field(name) {
    return this.element.querySelector(`[name="${name}"]`);
  }

  atBar(edit) {
    const bar = Number(this.field("bar").value);
    const at = this.seen.bars.findIndex((line) => line.bar === bar);
    const line = this.seen.bars[at];
    if (!line) return this.state;
    const next = this.seen.bars[at + 1];
    const beatS = next ? (next.time_s - line.time_s) / line.beats : this.seen.stretches.at(-1).beat_s;
    return edit(bar, line, beatS);
  }

  stepBack(which) {
    if (this.history[which]()) this.changed();
    else this.say(which === "undo" ? "There is nothing to undo." : "There is nothing to do again.");
  }

  closer() {
    this.reachMs = REACHES_MS[(REACHES_MS.indexOf(this.reachMs) + REACHES_MS.length - 1) % REACHES_MS.length];
    this.draw();
  }

  changeRow(field) {
    const at = Number(field.closest("tr").dataset.at);
    const value = field.type === "checkbox" ? field.checked : field.value.trim().replace(",", ".");
    const edits = {
      time: () => placed(this.state, at, Number(value)),
      meter: () => inMeter(this.state, at, value),
      ramps: () => ramping(this.state, at, value),
      bpm: () => inTempo(this.state, Number(value)),
    };
    this.take(edits[field.dataset.of]());
    this.showRows();
  }

  choose(at) {
    if (!Number.isInteger(at) || at === this.chosen) return;
    this.chosen = at;
    for (const row of this.rows.rows) row.toggleAttribute("data-chosen", Number(row.dataset.at) === at);
    this.draw();
  }

  key(event) {
    const isUndo = (event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z";
    if (isUndo) {
      event.preventDefault();
      return this.stepBack(event.shiftKey ? "redo" : "undo");
    }
    if (event.target !== this.canvas || event.ctrlKey || event.altKey || event.metaKey) return;
    const steps = { ArrowUp: -0.001, ArrowDown: 0.001 };
    if (event.key in steps) {
      event.preventDefault();
      const all = this.field("all").checked;
      this.take(moved(this.state, this.chosen, steps[event.key] * (event.shiftKey ? 10 : 1), all));
    }
    if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
      event.preventDefault();
      this.choose(Math.min(Math.max(this.chosen + (event.key === "ArrowLeft" ? -1 : 1), 0), this.state.anchors.length - 1));
    }
  }

  grab(event) {
    const box = this.canvas.getBoundingClientRect();
    const x = event.clientX - box.left;
    const gaps = this.state.anchors.map((anchor) => Math.abs(this.picture.x(anchor.time_s) - x));
    const nearest = gaps.indexOf(Math.min(...gaps));
    this.canvas.focus({ preventScroll: true });
    if (gaps[nearest] > 2 * HANDLE_PX) return;
    this.choose(nearest);
    const from = { y: event.clientY, state: this.state };
    const { msPerPx } = this.picture;
    const all = this.field("all").checked;
    let last = null;
    const drag = (moveEvent) => {
      last = moved(from.state, nearest, ((moveEvent.clientY - from.y) * msPerPx) / 1000, all);
      this.history.now = last;
      this.changed();
    };
    const drop = () => {
      this.canvas.removeEventListener("pointermove", drag);
      this.history.now = from.state;
      if (last) this.take(last);
    };
    this.canvas.setPointerCapture(event.pointerId);
    this.canvas.addEventListener("pointermove", drag);
    this.canvas.addEventListener("pointerup", drop, { once: true });
    this.canvas.addEventListener("pointercancel", drop, { once: true });
  }

  say(text) {
    this.said.textContent = text;
  }

  show() {
    this.showRows();
    const spread = this.seen.spread_ms;
    this.element.querySelector("[data-map-spread]").textContent = spread === null ? "no attacks to hold it against" : `half of all attacks lie within ${spread} ms`;
    this.draw();
  }

  showRows() {
    if (this.rows.contains(document.activeElement) && document.activeElement.matches("input:not([type=checkbox])")) return this.showFigures();
    this.rows.replaceChildren(...this.state.anchors.map((anchor, at) => this.row(anchor, at)));
    this.showFigures();
  }

  row(anchor, at) {
    const row = document.createElement("tr");
    row.dataset.at = at;
    row.toggleAttribute("data-chosen", at === this.chosen);
    const isLast = at === this.state.anchors.length - 1;
    const head = document.createElement("th");
    head.scope = "row";
    head.textContent = `Bar ${anchor.bar}`;
    row.append(head, this.cell("time", anchor.time_s.toFixed(6), `Time of bar ${anchor.bar}, in seconds`), this.cell("meter", anchor.meter, `Meter from bar ${anchor.bar}`));
    row.append(isLast ? this.cell("bpm", "", `Tempo from bar ${anchor.bar}`) : figure("bpm"), this.rampCell(anchor, at, isLast), figure("late"), figure("spread"));
    return row;
  }

  cell(of, value, label) {
    const cell = document.createElement("td");
    const input = document.createElement("input");
    Object.assign(input, { value, className: "short" });
    input.dataset.of = of;
    input.inputMode = of === "meter" ? "text" : "decimal";
    input.setAttribute("aria-label", label);
    cell.append(input);
    return cell;
  }

  rampCell(anchor, at, isLast) {
    const cell = document.createElement("td");
    if (!at || isLast) return cell;
    const box = document.createElement("input");
    Object.assign(box, { type: "checkbox", checked: anchor.ramps });
    box.dataset.of = "ramps";
    box.setAttribute("aria-label", `From bar ${anchor.bar} the tempo changes evenly`);
    cell.append(box);
    return cell;
  }

  showFigures() {
    for (const row of this.rows.rows) {
      const stretch = this.seen.stretches[Number(row.dataset.at)];
      if (!stretch) continue;
      const bpm = row.querySelector('[data-of="bpm"]');
      const text = String(Math.round(stretch.bpm * 1000) / 1000);
      if (bpm && bpm !== document.activeElement) bpm.value = text;
      for (const cell of row.querySelectorAll("td[data-figure]")) {
        const figures = { bpm: text, late: signed(stretch.late_ms), spread: stretch.spread_ms === null ? "–" : `${stretch.spread_ms} ms` };
        cell.textContent = figures[cell.dataset.figure];
      }
    }
  }

  draw() {
    const anchor = this.state.anchors[this.chosen];
    const scene = { seen: this.seen, anchors: this.state.anchors, chosen: this.chosen, reachMs: this.reachMs };
    this.picture.draw(scene);
    this.element.querySelector("[data-map-where]").textContent = `bar ${anchor.bar} at ${clock(anchor.time_s, 3)}; ${this.reachMs} ms up to early, down to late`;
    this.canvas.setAttribute("aria-label", `The playing against the map. Chosen: ${placeText(this.seen.bars, anchor.time_s + 1e-6)}, ${signed(this.seen.stretches[this.chosen]?.late_ms)}.`);
  }
}

function figure(of) {
  const cell = document.createElement("td");
  cell.className = "num";
  cell.dataset.figure = of;
  return cell;
}

function signed(lateMs) {
  if (lateMs === null || lateMs === undefined) return "–";
  if (lateMs === 0) return "on it";
  return lateMs > 0 ? `${lateMs} ms late` : `${-lateMs} ms early`;
}

attach("[data-map-editor]", (element) => {
  const editor = new MapEditor(element);
  return () => editor.observer.disconnect();
});
