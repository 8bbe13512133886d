// The sound of a song in blocks that start at fixed frames, so that any part of it can be had from what is kept: from
// memory, from the device's cache, else from the house.
import { onsetsFrom } from "kitpost/lanes/residual";
import { firmAttacks } from "kitpost/lanes/sounds";
import { canKeep } from "kitpost/lib/kept";

export const BLOCK_S = 10;
// Of blocks in memory: about 200 MB of stereo at 48 kHz.
const MOST_BLOCKS = 100;

export class KeptSounds {
  /** `cache`: the name of the song's cache on this device. */
  constructor(cache) {
    this.cacheName = cache;
    this.blocks = new Map();
    // Names of files of which some sound could not be had.
    this.missing = new Set();
  }

  /** For a Transport. Sound that cannot be had is silent: what is there plays on. */
  fetchPart = async (lane, start, frames) => {
    const size = blockFrames(lane);
    const [first, last] = [Math.floor(start / size), Math.floor((start + Math.max(frames, 1) - 1) / size)];
    const indices = Array.from({ length: last - first + 1 }, (_, at) => first + at);
    const parts = await Promise.all(indices.map((index) => this.block(lane, index).catch(() => null)));
    if (parts.some((part) => !part)) {
      this.missing.add(lane.name);
      return null;
    }
    return { pcm: cut(parts, start - first * size, frames), channels: parts[0].channels };
  };

  /** For a Transport, as `fetchPart`: without the click the music plays on. */
  fetchClicks = async (address) => {
    if (this.clicks?.address !== address) this.clicks = { address, samples: this.loadClicks(address) };
    return this.clicks.samples.catch(() => {
      this.clicks = null;
      this.missing.add("the click");
      return null;
    });
  };

  async loadClicks(address) {
    return new Float32Array(await (await this.answerOf(address)).arrayBuffer());
  }

  block(lane, index) {
    const address = blockAddress(lane, index);
    const known = this.blocks.get(address);
    this.blocks.delete(address);
    const block = known ?? this.load(address).catch((error) => this.forget(address, error));
    this.blocks.set(address, block); // the last used is the last to leave
    if (this.blocks.size > MOST_BLOCKS) this.blocks.delete(this.blocks.keys().next().value);
    return block;
  }

  forget(address, error) {
    this.blocks.delete(address);
    throw error;
  }

  async load(address) {
    const answer = await this.answerOf(address);
    const pcm = new Int16Array(await answer.arrayBuffer());
    return { pcm, channels: Number(answer.headers.get("X-Channels")) || 1 };
  }

  /** When each lane's firm attacks are, in seconds: they are kept whole when it plays slower. */
  attacks(lanes) {
    return Promise.all(lanes.map((lane) => this.attacksOf(lane).catch(() => [])));
  }

  async attacksOf(lane) {
    const answer = await this.answerOf(lane.onsets);
    return firmAttacks(onsetsFrom(await answer.arrayBuffer()));
  }

  async answerOf(address) {
    return (await this.kept(address)) ?? (await fromHouse(address));
  }

  async kept(address) {
    if (!canKeep()) return null;
    return (await (await caches.open(this.cacheName)).match(address)) ?? null;
  }

  /** Put the clicks at `clicks` and every block of these lanes into the device's cache, and take out what belongs to
   *  none. `onStep` is told how many of how many are there. */
  async keep(clicks, lanes, onStep) {
    const cache = await caches.open(this.cacheName);
    const kept = new Set((await cache.keys()).map((request) => request.url));
    const all = [clicks, ...lanes.flatMap(addressesOf)];
    await dropOthers(cache, kept, new Set(all.map(whole)));
    for (const [at, address] of all.entries()) {
      if (!kept.has(whole(address))) await cache.put(address, await fromHouse(address));
      onStep(at + 1, all.length);
    }
  }
}

export function addressesOf(lane) {
  if (!lane.sound) return [];
  const count = Math.ceil(lane.frames / blockFrames(lane));
  return [lane.onsets, ...Array.from({ length: count }, (_, index) => blockAddress(lane, index))];
}

async function dropOthers(cache, kept, wanted) {
  await Promise.all([...kept].filter((address) => !wanted.has(address)).map((address) => cache.delete(address)));
}

async function fromHouse(address) {
  const answer = await fetch(address, { redirect: "error" });
  if (!answer.ok) throw new Error(`${answer.status}`);
  return answer;
}

function blockFrames({ sample_rate_hz: rateHz }) {
  return BLOCK_S * rateHz;
}

function blockAddress(lane, index) {
  return `${lane.sound}?start=${index * blockFrames(lane)}&frames=${blockFrames(lane)}`;
}

function whole(address) {
  return new URL(address, location.href).href;
}

/** `frames` from frame `offset` of the first block on. */
function cut(parts, offset, frames) {
  const { channels } = parts[0];
  const whole = frames * channels;
  const out = new Int16Array(whole);
  let at = 0;
  let from = offset * channels;
  for (const { pcm } of parts) {
    const piece = pcm.subarray(from, from + whole - at);
    out.set(piece, at);
    at += piece.length;
    from = Math.max(0, from - pcm.length);
  }
  return out.subarray(0, at);
}
