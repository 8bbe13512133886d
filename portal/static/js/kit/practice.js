// Practice: what loops, how fast, how it is counted in and what is clicked. Keys, buttons and fields set the same.
import { BAR_PATTERNS, clicksOf, speedStep, SUBDIVISIONS } from "kitpost/kit/clicking";
import { spanOf } from "kitpost/lanes/looping";
import { parseNumber } from "kitpost/lib/parse-number";

const MOST_COUNT_IN = 2;
const PARTS = {
  beat: "the beat",
  quarter: "quarters",
  eighth: "eighths",
  triplet: "triplets",
  sixteenth: "sixteenths",
};
const percent = (speed) => `${Math.round(speed * 100)} %`;

export class Practice {
  /** `kit`: {song, form, transport, headS, seek, say, part}. */
  constructor(kit) {
    this.kit = kit;
    this.speed = 1;
    // As chosen for the prepared click.
    const { subdivision, bars_on: on, bars_off: off } = kit.song.click;
    this.subdivision = subdivision;
    this.pattern = [on, off];
    this.countIn = 1;
    this.every = 0;
    this.rounds = 0;
    kit.transport.countsIn = this.countIn;
    kit.transport.onRound = () => this.round();
    this.listen();
    kit.transport.setClicks(clicksOf(kit.song, this));
    this.show();
  }

  listen() {
    const { part, form } = this.kit;
    const sections = part("sections");
    sections.append(...form.map((one, at) => new Option(`${one.label}, bars ${one.bar} to ${lastOf(one)}`, at)));
    sections.addEventListener("change", () => this.loopSection(sections.value === "" ? -1 : Number(sections.value)));
    for (const name of ["loop-from", "loop-to"]) part(name).addEventListener("change", () => this.loopFields());
    part("speed").addEventListener("change", (event) => this.setSpeed(Number(event.target.value) / 100));
    part("every").addEventListener("change", (event) => this.setEvery(parseNumber(event.target.value) || 0));
    part("parts").addEventListener("change", (event) => this.click({ subdivision: event.target.value }));
    part("count").addEventListener("change", (event) => this.setCountIn(Number(event.target.value)));
    for (const name of ["bars-on", "bars-off"]) part(name).addEventListener("change", () => this.patternFields());
  }

  /** The section at `songS` loops; pressed again, nothing does. */
  toggleLoop(songS) {
    if (this.kit.transport.loop) return this.setLoop(null, null);
    this.loopSection(this.kit.form.findLastIndex((one) => one.startS <= songS + 1e-3));
  }

  loopSection(at) {
    const section = this.kit.form[at];
    if (section) this.setLoop(section.bar, lastOf(section));
    else this.setLoop(null, null);
  }

  loopFields() {
    const [from, to] = ["loop-from", "loop-to"].map((name) => parseNumber(this.kit.part(name).value));
    if (from && to) this.setLoop(from, to);
    else if (!from && !to) this.setLoop(null, null);
  }

  setLoop(from, to) {
    const span = from === null ? null : spanOf(this.kit.song, from, to);
    if (from !== null && !span) return this.kit.say("The song has no such bars.");
    this.rounds = 0;
    this.loop = span && { from, to };
    this.kit.transport.loop = span;
    this.kit.say(span ? `Looping bars ${from} to ${to}.` : "Loop off.");
    if (span) this.kit.seek(span.startS);
    this.show();
  }

  /** A round has been laid: after `every` of them the next is a step faster, up to the song's own tempo. */
  round() {
    this.rounds++;
    if (!this.every || this.rounds % this.every || this.speed >= 1) return null;
    this.speed = speedStep(this.speed, 1);
    this.show();
    return this.speed;
  }

  step(by) {
    this.setSpeed(speedStep(this.speed, by));
  }

  setSpeed(speed) {
    this.speed = speed;
    this.kit.setSpeed(speed);
    this.kit.show();
    this.kit.say(`${percent(speed)} of the tempo.`);
    this.show();
  }

  toggleEvery() {
    this.setEvery(this.every ? 0 : 4);
  }

  setEvery(rounds) {
    this.every = Math.max(0, Math.round(rounds));
    this.rounds = 0;
    this.kit.say(this.every ? `5 % faster after every ${this.every} rounds of the loop.` : "The speed stays.");
    this.show();
  }

  cycleCountIn() {
    this.setCountIn((this.countIn + 1) % (MOST_COUNT_IN + 1));
  }

  setCountIn(bars) {
    this.countIn = bars;
    this.kit.transport.countsIn = bars;
    this.kit.say(bars ? `Count-in: ${bars} bar${bars > 1 ? "s" : ""}.` : "No count-in.");
    this.show();
  }

  cycleParts() {
    const at = SUBDIVISIONS.indexOf(this.subdivision);
    this.click({ subdivision: SUBDIVISIONS[(at + 1) % SUBDIVISIONS.length] });
  }

  cyclePattern() {
    const at = BAR_PATTERNS.findIndex(([on, off]) => on === this.pattern[0] && off === this.pattern[1]);
    this.click({ pattern: BAR_PATTERNS[(at + 1) % BAR_PATTERNS.length] });
  }

  patternFields() {
    const [on, off] = ["bars-on", "bars-off"].map((name) => parseNumber(this.kit.part(name).value));
    if (!(on >= 1) || !(off >= 0)) return this.show();
    this.click({ pattern: [Math.round(on), Math.round(off)] });
  }

  click(change) {
    Object.assign(this, change);
    this.kit.transport.setClicks(clicksOf(this.kit.song, this));
    const [on, off] = this.pattern;
    const bars = off ? `, ${on} bar${on > 1 ? "s" : ""} with and ${off} without` : "";
    this.kit.say(`Click on ${PARTS[this.subdivision]}${bars}.`);
    this.show();
  }

  show() {
    const { part, form } = this.kit;
    const { loop } = this;
    part("loop-from").value = loop?.from ?? "";
    part("loop-to").value = loop?.to ?? "";
    part("sections").value = form.findIndex((one) => one.bar === loop?.from && lastOf(one) === loop?.to);
    if (part("sections").selectedIndex < 0) part("sections").value = "";
    part("speed").value = Math.round(this.speed * 100);
    part("every").value = this.every || "";
    part("parts").value = this.subdivision;
    part("count").value = this.countIn;
    [part("bars-on").value, part("bars-off").value] = this.pattern;
    part("loop").setAttribute("aria-pressed", String(Boolean(loop)));
    part("looping").textContent = loop ? `Loop ${loop.from}–${loop.to}` : "";
  }
}

function lastOf({ bar, bars }) {
  return bar + bars - 1;
}
