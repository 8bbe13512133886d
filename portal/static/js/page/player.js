// Plays one sound under our own buttons. Without script the <audio controls> inside stays as it is.
//
//   <div class="player" data-player data-player-label="Rough mix 2"
//        data-player-map='{"bar_one_s": 0, "segments": [...]}'>
//     <audio controls preload="none" src="URL"></audio>
//   </div>
//
// `data-player-map` (optional) is a tempo map; with it, places are bars. Playing starts quiet and ramps up after each
// start and seek.
import { attach } from "kitpost/lib/attach";
import { barsOfMap, clock, placeAt } from "kitpost/lib/bars";
import { noteTaken, showHearingNote } from "kitpost/lib/hearing-note";
import { START_LEVEL_DB, TOP_LEVEL_DB, gainOfLevel, levelText, rampedGain, sayLevel } from "kitpost/lib/level";

const STEP_S = 5;
let playing = null;

class Player {
  constructor(element) {
    this.element = element;
    this.audio = element.querySelector("audio");
    this.map = element.dataset.playerMap ? JSON.parse(element.dataset.playerMap) : null;
    this.bars = [];
    this.gain = gainOfLevel(START_LEVEL_DB);
    this.rampedFrom = 0;
    this.frame = 0;
    this.startedS = 0;
    this.build();
  }

  build() {
    this.audio.controls = false;
    this.audio.volume = 0;
    this.row = document.createElement("div");
    this.row.className = "player-row";
    this.row.setAttribute("role", "group");
    this.row.setAttribute("aria-label", this.element.dataset.playerLabel ?? "Player");
    this.playButton = make("button", { type: "button", className: "primary", textContent: "▶ Play" });
    this.stopButton = make("button", { type: "button", textContent: "■ Stop" });
    this.place = make("output", { className: "bars" });
    this.seekSlider = make("input", { type: "range", min: 0, max: 0, step: 0.01, value: 0, className: "player-seek" });
    this.seekSlider.setAttribute("aria-label", "Position");
    this.levelSlider = make("input", { type: "range", min: -48, max: TOP_LEVEL_DB, step: 1, value: START_LEVEL_DB });
    this.levelWord = make("span", {});
    const level = make("label", { className: "player-level" });
    level.append("Level", this.levelSlider, this.levelWord);
    this.row.append(this.playButton, this.stopButton, this.place, level, this.seekSlider);
    this.said = make("p", { className: "player-said" });
    this.said.setAttribute("role", "status");
    this.element.append(this.row, this.said);
    this.setLevel(START_LEVEL_DB);
    this.tell();
  }

  setLevel(levelDb) {
    this.gain = gainOfLevel(levelDb);
    this.levelWord.textContent = levelText(levelDb);
    sayLevel(this.levelSlider, levelDb);
    if (!this.audio.paused) this.follow();
  }

  async play() {
    if (!noteTaken()) {
      return showHearingNote(this.element, () => {
        this.playButton.focus();
        this.play();
      });
    }
    playing?.pause();
    playing = this;
    this.startedS = this.audio.currentTime;
    this.rampAgain();
    try {
      await this.audio.play();
    } catch (error) {
      if (error.name !== "AbortError") this.said.textContent = "This audio could not be played.";
    }
  }

  pause() {
    this.audio.pause();
    this.audio.volume = 0;
    if (playing === this) playing = null;
  }

  /** Silence at once, and back to where playing began. */
  stop() {
    if (this.audio.paused) return;
    this.pause();
    this.audio.currentTime = this.startedS;
    this.tell();
  }

  toggle() {
    if (this.audio.paused) this.play();
    else this.pause();
  }

  seek(timeS) {
    this.rampAgain();
    this.audio.currentTime = Math.min(Math.max(0, timeS), this.audio.duration || timeS);
    this.tell();
  }

  rampAgain() {
    this.audio.volume = 0;
    this.rampedFrom = performance.now();
  }

  follow() {
    cancelAnimationFrame(this.frame);
    this.audio.volume = rampedGain(this.gain, performance.now() - this.rampedFrom);
    this.tell();
    if (!this.audio.paused) this.frame = requestAnimationFrame(() => this.follow());
  }

  tell() {
    const timeS = this.audio.currentTime;
    const place = placeAt(this.bars, timeS);
    const time = `${clock(timeS, 1)} of ${Number.isFinite(this.audio.duration) ? clock(this.audio.duration) : "–"}`;
    const bars = place ? `${place.bar}${place.beat ? `.${place.beat}` : ""}` : clock(timeS);
    this.place.replaceChildren(bars, make("small", { textContent: place ? time : `of ${time.split(" of ")[1]}` }));
    this.seekSlider.value = timeS;
    this.seekSlider.setAttribute("aria-valuetext", place ? `bar ${place.bar}, ${time}` : time);
  }

  measure() {
    this.seekSlider.max = this.audio.duration;
    if (this.map && Number.isFinite(this.audio.duration)) this.bars = barsOfMap(this.map, this.audio.duration);
    this.tell();
  }

  sayLost() {
    this.said.textContent = "This audio could not be loaded. Try again, or download it.";
  }
}

function make(tag, properties) {
  return Object.assign(document.createElement(tag), properties);
}

// Keys work only inside the player (WCAG 2.2, 2.1.4), and never take one from a slider or a pressed button.
function onKey(player, event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const inSlider = event.target instanceof HTMLInputElement;
  const act = {
    Escape: () => player.stop(),
    s: () => player.stop(),
    ArrowLeft: inSlider ? null : () => player.seek(player.audio.currentTime - STEP_S),
    ArrowRight: inSlider ? null : () => player.seek(player.audio.currentTime + STEP_S),
  }[event.key];
  if (!act) return;
  event.preventDefault();
  act();
}

function listen(player, signal) {
  const { audio, element } = player;
  const on = (target, name, act) => target?.addEventListener(name, act, { signal });
  on(player.playButton, "click", () => player.toggle());
  on(player.stopButton, "click", () => player.stop());
  on(player.seekSlider, "input", () => player.seek(Number(player.seekSlider.value)));
  on(player.levelSlider, "input", () => player.setLevel(Number(player.levelSlider.value)));
  on(element, "keydown", (event) => onKey(player, event));
  for (const name of ["loadedmetadata", "durationchange"]) on(audio, name, () => player.measure());
  on(audio, "seeked", () => player.tell());
  on(audio, "play", () => {
    player.playButton.textContent = "❚❚ Pause";
    player.follow();
  });
  for (const name of ["pause", "ended"]) on(audio, name, () => (player.playButton.textContent = "▶ Play"));
  on(audio, "error", () => player.sayLost());
}

attach("[data-player]", (element) => {
  const leaving = new AbortController();
  const player = new Player(element);
  listen(player, leaving.signal);
  // The sound may have come, or failed, before this script did.
  if (player.audio.readyState >= HTMLMediaElement.HAVE_METADATA) player.measure();
  if (player.audio.error) player.sayLost();
  return () => {
    player.pause();
    leaving.abort();
  };
});
