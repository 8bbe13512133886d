// Listening to takes over the music: playing, switching, balance, the bar ruler, and notes where they are heard.
//
//   <div data-listen data-listen-facts='{"duration_s", "takes", "music", "bars", "sections"}'>
//     … the player's parts, `data-listen-…` … <ol> of notes, `data-note-first`, `data-note-last`, `data-note-done`
//
// Nothing sounds before a press; every start is quiet and comes up to the level that is set.
import { attach } from "kitpost/lib/attach";
import { barIndexAt, clock, placeAt } from "kitpost/lib/bars";
import { noteTaken, showHearingNote } from "kitpost/lib/hearing-note";
import { START_LEVEL_DB, levelText, listenToLevel } from "kitpost/lib/level";
import { hasModifier } from "kitpost/lib/modifiers";
import { paletteOf } from "kitpost/lib/palette";
import { balanceText } from "kitpost/takes/balance";
import { Deck } from "kitpost/takes/deck";
import { Noting } from "kitpost/takes/noting";
import { STRIP_PX, drawStrip } from "kitpost/takes/strip";

const PARTS = [
  "player",
  "strip",
  "play",
  "stop",
  "place",
  "level",
  "level-word",
  "seek",
  "a",
  "b",
  "switch",
  "hears",
  "less",
  "balance",
  "note-bar",
  "said",
];

class Listening {
  constructor(element) {
    this.element = element;
    this.facts = JSON.parse(element.dataset.listenFacts);
    this.part = Object.fromEntries(PARTS.map((name) => [name, element.querySelector(`[data-listen-${name}]`)]));
    this.startedS = 0;
    this.deck = new Deck(this.facts, {
      onEnd: () => this.ended(),
      onLost: (error) => this.lost(error),
    });
    this.deck.setLevel(START_LEVEL_DB);
    this.noting = new Noting(
      element,
      () => this.bar,
      () => this.deck.take,
    );
    this.part.player.hidden = false;
    this.part.seek.max = this.facts.duration_s;
    this.begin();
    this.showNotes();
    this.tell();
  }

  /** A take with the music in it begins alone; drums begin with the music under them. */
  begin() {
    const { balance } = this.part;
    if (!balance) return this.deck.setBalance(-1);
    balance.value = this.deck.take.holds === "mix" ? -1 : 0;
    this.deck.setBalance(Number(balance.value));
  }

  /** The bar that is heard; null before the first, and without a map. */
  get bar() {
    const at = barIndexAt(this.facts.bars, this.deck.songTime());
    return at < 0 ? null : this.facts.bars[at].bar;
  }

  async play(fromS = this.deck.songTime()) {
    if (!noteTaken()) {
      return showHearingNote(this.part.player, () => {
        this.part.play.focus();
        this.play(fromS);
      });
    }
    this.part.said.textContent = "";
    this.startedS = fromS >= this.facts.duration_s - 0.05 ? 0 : fromS;
    this.part.play.textContent = "❚❚ Pause";
    const playing = this.deck.play(this.startedS);
    this.follow(); // from now on: what is laid ahead may still be on its way
    await playing;
  }

  /** Silence at once, and back to where playing began. */
  stop() {
    this.deck.silence();
    this.rest(this.startedS);
  }

  rest(songS) {
    if (this.deck.transport) this.deck.transport.startS = songS;
    this.deck.restS = songS;
    this.part.play.textContent = "▶ Play";
    this.tell();
  }

  toggle() {
    if (this.deck.isPlaying) {
      const songS = this.deck.songTime();
      this.deck.silence();
      this.rest(songS);
    } else this.play();
  }

  seek(songS) {
    const to = Math.min(Math.max(0, songS), this.facts.duration_s);
    if (this.deck.isPlaying) this.play(to);
    else this.rest(to);
  }

  seekBars(by) {
    const { bars } = this.facts;
    if (!bars.length) return this.seek(this.deck.songTime() + 5 * by);
    const at = Math.max(0, barIndexAt(bars, this.deck.songTime()));
    this.seek(bars[Math.min(Math.max(0, at + by), bars.length - 1)].time_s);
  }

  goToBar(bar) {
    const line = this.facts.bars.find((one) => one.bar >= bar);
    if (line) this.play(Math.max(0, line.time_s));
  }

  switch() {
    if (!this.deck.switch()) this.say("Choose two different takes to switch between.");
    this.tell();
  }

  async pick(side, id) {
    const at = this.facts.takes.findIndex((take) => String(take.id) === id);
    await this.deck.pick(side, at);
    this.begin();
    this.tell();
    if (this.deck.isPlaying) this.follow();
  }

  ended() {
    this.rest(0);
  }

  lost() {
    this.rest(this.deck.songTime());
    this.say("The sound could not be loaded. Check the connection, then press Play again.");
  }

  say(words) {
    this.part.said.textContent = words;
  }

  follow() {
    cancelAnimationFrame(this.frame);
    this.tell();
    if (this.deck.isPlaying) this.frame = requestAnimationFrame(() => this.follow());
  }

  showNotes() {
    this.notes = [...this.element.querySelectorAll("[data-note-first]")].map(({ dataset }) => ({
      first: Number(dataset.noteFirst),
      last: Number(dataset.noteLast),
      isDone: dataset.noteDone !== undefined,
    }));
    for (const button of this.element.querySelectorAll("[data-listen-go]")) button.hidden = !this.facts.bars.length;
    const open = this.notes.filter((note) => !note.isDone).length;
    const count = this.element.querySelector("[data-notes-count]");
    if (count) count.textContent = `${open} open`;
  }

  tell() {
    const songS = this.deck.songTime();
    const place = placeAt(this.facts.bars, songS);
    const bars = place ? `${place.bar}${place.beat ? `.${place.beat}` : ""}` : clock(songS);
    this.set("place", `Bar ${bars}`.replace(/^Bar (?=\d+:)/, ""));
    this.part.place.title = clock(songS, 1);
    this.part.seek.value = songS;
    this.part.seek.setAttribute("aria-valuetext", place ? `bar ${place.bar}, ${clock(songS)}` : clock(songS));
    const bar = this.bar;
    if (this.part["note-bar"]) this.set("note-bar", bar === null ? "this bar" : `bar ${bar}`);
    this.tellTake();
    this.draw(songS);
  }

  tellTake() {
    const { take, balance } = this.deck;
    const other = this.deck.other ? ` The other is ${this.deck.other.label.toLowerCase()}.` : "";
    const with_ = this.facts.music ? `: ${balanceText(balance, take.holds)}` : "";
    this.set("hears", `You hear ${take.label.toLowerCase()}${with_}.${other}`);
    if (this.heard !== take) this.noting.follow();
    this.heard = take;
    if (this.part.less) this.set("less", take.holds === "mix" ? "Rough mix" : "Drums");
    this.part.balance?.setAttribute("aria-valuetext", balanceText(balance, take.holds));
  }

  set(name, text) {
    if (this.part[name].textContent !== text) this.part[name].textContent = text;
  }

  draw(songS) {
    const { strip } = this.part;
    const width = strip.clientWidth;
    if (!width) return;
    const scene = { facts: this.facts, notes: this.notes, headS: songS, width };
    this.view = drawStrip(strip, scene, paletteOf(strip));
  }

  seekAt(event) {
    const share = event.offsetX / this.part.strip.clientWidth;
    const timeS = this.view.startS + share * (this.view.endS - this.view.startS);
    const at = barIndexAt(this.facts.bars, timeS);
    this.seek(at < 0 ? timeS : this.facts.bars[at].time_s);
  }
}

const KEYS = {
  escape: (listening) => listening.stop(),
  x: (listening) => listening.switch(),
  n: (listening) => listening.noting.note(),
  arrowleft: (listening) => listening.seekBars(-1),
  arrowright: (listening) => listening.seekBars(1),
};

// Keys work only inside the player (WCAG 2.2, 2.1.4), and never take one from a field or a slider.
function onKey(listening, event) {
  if (hasModifier(event) || (event.target.matches("select") && event.key !== "Escape")) return;
  const act = KEYS[event.key.toLowerCase()];
  if (!act || (event.key.startsWith("Arrow") && event.target.matches("input"))) return;
  event.preventDefault();
  act(listening);
}

function listen(listening, signal) {
  const { element, part } = listening;
  const on = (target, name, act) => target?.addEventListener(name, act, { signal });
  on(part.play, "click", () => listening.toggle());
  on(part.stop, "click", () => listening.stop());
  on(part.switch, "click", () => listening.switch());
  on(part.seek, "input", () => listening.seek(Number(part.seek.value)));
  on(part.strip, "click", (event) => listening.seekAt(event));
  on(part.a, "change", () => listening.pick(0, part.a.value));
  on(part.b, "change", () => listening.pick(1, part.b.value));
  on(part.balance, "input", () => {
    listening.deck.setBalance(Number(part.balance.value));
    listening.tell();
  });
  on(part.player, "keydown", (event) => onKey(listening, event));
  on(element, "click", ({ target }) => {
    const button = target.closest("[data-listen-go]");
    if (button) listening.goToBar(Number(button.dataset.listenGo));
  });
  on(element, "htmx:afterSettle", () => {
    listening.showNotes();
    listening.tell();
  });
  on(window, "resize", () => listening.tell());
  listening.noting.listen(signal);
}

attach("[data-listen]", (element) => {
  if (!element.querySelector("[data-listen-player]")) return () => {};
  const leaving = new AbortController();
  const listening = new Listening(element);
  const { level, "level-word": word, strip } = listening.part;
  strip.style.height = `${STRIP_PX}px`;
  word.textContent = levelText(START_LEVEL_DB);
  listenToLevel(level, Number, (levelDb) => {
    listening.deck.setLevel(levelDb);
    word.textContent = levelText(levelDb);
  });
  listen(listening, leaving.signal);
  listening.tell();
  return () => {
    leaving.abort();
    cancelAnimationFrame(listening.frame);
    listening.deck.leave();
  };
});
