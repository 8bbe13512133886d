// Keeps a song on this device, so that its page opens and plays without a network: the page and the house's scripts,
// what it shows, and the sounds. Bounded; the song that was opened longest ago leaves first.
import { cacheName, canKeep, inStore, keepNote, STATIC_CACHE } from "kitpost/lib/kept";
import { SIGNED_OUT } from "kitpost/lib/take-queue";

// House choices: at most this, and never more than this share of what the browser grants.
const MOST_BYTES = 2 * 1024 ** 3;
const SHARE = 0.6;
const BYTES_A_FRAME = 4; // 16 bits, two channels
export const NO_WORKER =
  "This browser keeps no pages: without a network this page stays as it is, and cannot be reloaded.";

export class Keeping {
  constructor(song) {
    this.song = song;
    this.pages = cacheName(song.reader, "pages");
    this.sounds = soundsCache(song.reader, song.id);
  }

  /** The worker that opens pages without a network; false where there is none. */
  async begin() {
    if (!canKeep() || !navigator.serviceWorker) return false;
    try {
      await navigator.serviceWorker.register("/kit/worker.js");
      return true;
    } catch {
      return false;
    }
  }

  /** The page as it is now, and every script, style and font it uses. */
  async keepPage() {
    const pages = await caches.open(this.pages);
    await pages.put(location.pathname, await fetch(location.pathname, { redirect: "error" }));
    const files = await caches.open(STATIC_CACHE);
    const wanted = staticAddresses();
    for (const request of await files.keys()) if (!wanted.has(request.url)) await files.delete(request);
    await Promise.all([...wanted].map(async (address) => files.put(address, await fetch(address))));
  }

  async keepSong() {
    const { song } = this;
    await (await caches.open(this.pages)).put(songAddress(), new Response(JSON.stringify(song)));
    const row = { reader: song.reader, song: song.id, title: song.title, bytes: bytesOf(song.lanes), at: Date.now() };
    await keepNote(`opened:${song.reader}:${song.id}`, row);
  }

  /** Which of the song's files fit on this device, after the songs opened longest ago have left. */
  async makeRoom() {
    const budget = await budgetBytes();
    const opened = ((await inStore("notes", "readonly", (store) => store.getAll())) ?? [])
      .filter((row) => row.bytes !== undefined && row.reader === this.song.reader && row.song !== this.song.id)
      .sort((one, other) => other.at - one.at);
    let used = Math.min(bytesOf(this.song.lanes), budget);
    for (const row of opened) {
      used += row.bytes;
      if (used > budget) await this.drop(row);
    }
    return lanesWithin(this.song.lanes, budget);
  }

  async drop({ reader, song }) {
    await caches.delete(soundsCache(reader, song));
    await inStore("notes", "readwrite", (store) => store.delete(`opened:${reader}:${song}`));
    const pages = await caches.open(this.pages);
    await Promise.all([`/kit/${song}/`, `/kit/${song}/song.json`].map((address) => pages.delete(address)));
  }
}

export function soundsCache(reader, song) {
  return cacheName(reader, `song-${song}`);
}

/** What the song's page shows, from the house: {song, token}; {sentence} where it is not given. Null where the house
 *  cannot be reached. */
export async function songOfHouse() {
  const answer = await fetch(songAddress(), { redirect: "manual" }).catch(() => null);
  if (answer?.type === "opaqueredirect") return { sentence: SIGNED_OUT };
  if (!answer || answer.status >= 500) return null;
  if (!answer.ok) return { sentence: "This song is not yours to play any more." };
  return { song: await answer.json(), token: answer.headers.get("X-CSRFToken") };
}

/** As it was kept on this device; null where it was not. */
export async function songOnDevice() {
  const kept = canKeep() && (await caches.match(songAddress()));
  return kept ? kept.json() : null;
}

/** The files that fit, in order; the last ones are left out. */
export function lanesWithin(lanes, budget) {
  let used = 0;
  return lanes.filter((lane) => lane.sound && (used += bytesOf([lane])) <= budget);
}

export function bytesOf(lanes) {
  return lanes.reduce((sum, lane) => sum + (lane.sound ? lane.frames * BYTES_A_FRAME : 0), 0);
}

async function budgetBytes() {
  const { quota = Infinity } = (await navigator.storage?.estimate?.()) ?? {};
  return Math.min(MOST_BYTES, SHARE * quota);
}

function songAddress() {
  return `${location.pathname}song.json`;
}

function staticAddresses() {
  const map = JSON.parse(document.querySelector("script[type=importmap]").textContent).imports;
  const own = Object.entries(map).filter(([name]) => /^kitpost\/(kit|lanes|lib|page)\//.test(name));
  const loaded = performance.getEntriesByType("resource").map((entry) => entry.name);
  const linked = [...document.querySelectorAll("link[href], script[src]")].map((one) => one.href || one.src);
  const addresses = [...own.map(([, address]) => address), ...loaded, ...linked];
  return new Set(addresses.map((one) => new URL(one, location.href).href).filter((one) => one.includes("/static/")));
}
