// Two takes and the music on one clock: all are decoded and laid at once, and switching is a change of gains that is
// over in some milliseconds. So the other take is heard at the same place, without a gap.
import { graphOf } from "kitpost/lanes/graph";
import { Transport } from "kitpost/lanes/transport";
import { matchedGains, shares } from "kitpost/takes/balance";

// Long enough to make no click, short enough to be heard as a cut (house choice).
const SWITCH_S = 0.012;

export class Deck {
  /** `facts`: {duration_s, takes, music}, as the page gives them. Nothing is clicked. */
  constructor(facts, { onEnd, onLost, ...options } = {}) {
    this.facts = facts;
    this.options = { fetchPart, fetchClicks: async () => null, ...options };
    this.onEnd = onEnd ?? (() => {});
    this.onLost = onLost ?? (() => {});
    this.balance = 0;
    this.levelDb = null;
    this.picked = [0, Math.min(1, facts.takes.length - 1)];
    this.side = 0;
  }

  get take() {
    return this.facts.takes[this.picked[this.side]];
  }

  /** The take that is not heard; null where both are one. */
  get other() {
    return this.picked[0] === this.picked[1] ? null : this.facts.takes[this.picked[1 - this.side]];
  }

  get lanes() {
    const { takes, music } = this.facts;
    return [...new Set(this.picked)].map((at) => takes[at]).concat(music ? [music] : []);
  }

  /** What each lane is heard at: only the take of this side, and the music. */
  get gains() {
    const { takes, music } = this.facts;
    const matched = new Map(
      [...takes, music].filter(Boolean).map((lane, at, all) => [lane, matchedGains(all.map(loudnessOf))[at]]),
    );
    const share = music ? shares(this.balance, this.take.holds) : { take: 1, music: 0 };
    return this.lanes.map((lane) => {
      if (lane === music) return share.music * matched.get(lane);
      return lane === this.take ? share.take * matched.get(lane) : 0;
    });
  }

  get isPlaying() {
    return Boolean(this.transport?.isPlaying);
  }

  /** Other takes: what plays goes on with them, from the same place. */
  async pick(side, at) {
    const [wasPlaying, songS] = [this.isPlaying, this.songTime()];
    this.picked[side] = at;
    this.silence();
    this.leave();
    this.restS = songS;
    if (wasPlaying) await this.play(songS);
  }

  switch() {
    if (!this.other) return false;
    this.side = 1 - this.side;
    this.setGains();
    return true;
  }

  setBalance(balance) {
    this.balance = balance;
    this.setGains();
  }

  setLevel(levelDb) {
    this.levelDb = levelDb;
    this.transport?.setLevel(levelDb);
  }

  setGains() {
    const { transport } = this;
    if (!transport?.gains) return;
    const atS = transport.context.currentTime;
    for (const [at, value] of this.gains.entries()) {
      const { gain } = transport.gains[at];
      gain.cancelScheduledValues(atS);
      gain.setValueAtTime(gain.value, atS);
      gain.linearRampToValueAtTime(value, atS + SWITCH_S);
    }
  }

  async play(fromS) {
    this.transport ??= this.build();
    if (this.levelDb !== null) this.transport.setLevel(this.levelDb);
    await this.transport.play(fromS);
  }

  build() {
    const { duration_s } = this.facts;
    const makeGraph = (context, { clickLevel }) => graphOf(context, { levels: this.gains, clickLevel });
    const song = { duration_s, lanes: this.lanes, bars: [], beats_s: [] };
    return new Transport(song, { ...this.options, makeGraph, onEnd: this.onEnd, onLost: this.onLost });
  }

  songTime() {
    return this.transport ? this.transport.songTime() : (this.restS ?? 0);
  }

  silence() {
    this.transport?.silence();
  }

  /** A browser has few audio contexts: one that is no longer used is given back. */
  leave() {
    this.silence();
    if (!this.options.context) this.transport?.context?.close?.();
    this.transport = null;
  }
}

function loudnessOf(lane) {
  return lane.loudness_lufs;
}

async function fetchPart(lane, start, frames) {
  const answer = await fetch(`${lane.sound}?lead=${lane.lead}&start=${start}&frames=${frames}`);
  if (!answer.ok) throw new Error(`The sound could not be loaded (${answer.status}).`);
  return { pcm: new Int16Array(await answer.arrayBuffer()), channels: Number(answer.headers.get("X-Channels")) || 1 };
}
