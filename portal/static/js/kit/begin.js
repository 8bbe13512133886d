// Opens the page at the kit: with what the house has, or with what this device kept; keeps it for the next time, and
// says how that stands.
import { keepAwake } from "kitpost/kit/awake";
import { KeyTable } from "kitpost/kit/key-table";
import { Keeping, NO_WORKER, songOfHouse, songOnDevice, soundsCache } from "kitpost/kit/keeping";
import { Kit } from "kitpost/kit/kit";
import { clickAddress } from "kitpost/lanes/click-sounds";
import { commonRate } from "kitpost/lanes/graph";
import { attach } from "kitpost/lib/attach";

const ASK_AGAIN_MS = 60_000;
const NOTHING = "This song is not kept on this device, and the house cannot be reached.";
const reader = Number(document.body.dataset.reader);

class Visit {
  constructor(element) {
    this.element = element;
    this.lines = {};
  }

  async begin() {
    const [answer, kept] = await Promise.all([songOfHouse(), songOnDevice().then(ofReader)]);
    const song = answer?.song ?? kept;
    if (!song) return this.fail(answer?.sentence ?? NOTHING);
    await this.open(song);
    this.takeAnswer(answer);
    this.tell("lack", lackOf(song));
    this.listen();
    if (song === kept) return this.tell("kept", "This page was opened from this device.");
    if (kept) this.sayIfOlder(kept, song);
    await this.keep();
  }

  async open(song) {
    this.kit = new Kit(this.element, song, soundsCache(song.reader, song.id));
    this.kit.onStop = () => this.reloadIfDue();
    this.element.kit = this.kit;
    new KeyTable(this.kit.keys, this.kit.part);
    this.endAwake = keepAwake((sentence) => this.tell("awake", sentence));
    await this.kit.begin();
    this.element.dataset.state = "ready";
  }

  fail(sentence) {
    this.element.dataset.state = "failed";
    this.element.querySelector("[data-kit-said]").textContent = sentence;
  }

  listen() {
    this.onNews = () => document.visibilityState === "visible" && this.ask();
    for (const [target, name] of this.events) target.addEventListener(name, this.onNews);
    this.timer = setInterval(this.onNews, ASK_AGAIN_MS);
  }

  get events() {
    return [
      [window, "online"],
      [document, "visibilitychange"],
    ];
  }

  /** What the house has now. A song that has changed is taken at once, or when playing stops. */
  async ask() {
    const answer = await songOfHouse();
    this.takeAnswer(answer);
    if (!answer?.song || signOf(answer.song) === signOf(this.kit.song)) return;
    this.isDue = true;
    this.tell("older", "This song was changed at the desk: the page takes it when you stop.");
    this.reloadIfDue();
  }

  reloadIfDue() {
    if (this.isDue && !this.kit.transport.isPlaying) location.reload();
  }

  takeAnswer(answer) {
    const { takes, balance } = this.kit;
    this.tell("network", answer?.song ? "" : (answer?.sentence ?? "No network: this page plays what it has kept."));
    if (!answer?.song) return;
    takes.token = balance.token = answer.token;
    takes.takeFromHouse(answer.song.takes);
    takes.send();
    if (balance.isDue) balance.save();
  }

  sayIfOlder(kept, song) {
    if (kept.map_version !== song.map_version)
      this.tell("older", `What this device kept was older (${mapText(kept)}). It now has ${mapText(song)}.`);
    else if (signOf(kept) !== signOf(song))
      this.tell("older", "What this device kept was older. It has the new one now.");
  }

  async keep() {
    const keeping = new Keeping(this.kit.song);
    if (!(await keeping.begin())) return this.tell("kept", NO_WORKER);
    try {
      await keeping.keepPage();
      await keeping.keepSong();
      // A take that the house has is forgotten here: a page opened from this device must know of it all the same.
      this.kit.takes.onHouse = () => keeping.keepSong().catch(() => {});
      await this.keepSounds(await keeping.makeRoom());
    } catch {
      this.tell("kept", "Not all of this song could be kept on this device: without a network some of it is missing.");
    }
  }

  async keepSounds(lanes) {
    const { song, sounds } = this.kit;
    const playable = song.lanes.filter((lane) => lane.sound);
    await sounds.keep(clickAddress(song, commonRate(song.lanes)), lanes, (done, all) =>
      this.tell("kept", `Keeping the sound on this device: ${done} of ${all} parts.`),
    );
    const left = playable.filter((lane) => !lanes.includes(lane)).map((lane) => lane.name);
    const room = left.length ? ` There is no room for ${left.join(", ")}.` : "";
    const unmade = song.lanes.length - playable.length;
    const wait = unmade ? ` Of ${unmade} there is no copy to play from.` : "";
    this.tell(
      "kept",
      `On this device: the form and the sound of ${lanes.length} of ${song.lanes.length} files.${room}${wait}`,
    );
    this.element.dataset.kept = "yes";
  }

  tell(name, sentence) {
    this.lines[name] = sentence;
    const text = Object.values(this.lines).filter(Boolean).join(" ");
    const part = this.element.querySelector("[data-kit-state]");
    if (part.textContent !== text) part.textContent = text;
  }

  leave() {
    clearInterval(this.timer);
    this.endAwake?.();
    for (const [target, name] of this.events) target.removeEventListener(name, this.onNews);
    this.kit?.leave();
  }
}

function ofReader(song) {
  return song?.reader === reader ? song : null;
}

/** What tells two states of a song apart, as far as the page plays and shows it. */
function signOf({ map_version, segments, sections, words, click, click_sounds, lanes, chart }) {
  const sounds = lanes.map((lane) => [lane.id, lane.sound]);
  return JSON.stringify([map_version, segments, sections, words, click, click_sounds, chart?.version, sounds]);
}

function lackOf({ lanes, bars, map_version: version }) {
  if (!lanes.length) return "This song has no files to play yet.";
  if (!bars.length) return "There is no tempo map yet, so there are no bars and no click: approve one at the desk.";
  return version ? "" : "The tempo map is as measured: nobody has approved it yet.";
}

function mapText({ map_version: version }) {
  return version ? `map ${version}` : "a map that is not approved";
}

attach("[data-kit]", (element) => {
  const visit = new Visit(element);
  visit.begin();
  return () => visit.leave();
});
