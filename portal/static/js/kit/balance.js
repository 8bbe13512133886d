// The headphone balance of a song, as its drummer left it: kept on this device at once, and at the house when it can be
// reached. How loud all is together is kept nowhere: every visit begins quiet.
import { keepNote, note } from "kitpost/lib/kept";
import { boundOf, CEILINGS_DB, gainsOf, levelsFrom } from "kitpost/kit/levels";
import { levelOfGain, START_LEVEL_DB } from "kitpost/lib/level";

const QUIET_AFTER_MS = 1200;

export class Balance {
  /** `apply` is called with {click, lanes, levelDb, heldDb} at every change: gains, the level of all, and by how much
   *  the ceiling holds all back. */
  constructor(song, outputs, apply) {
    this.song = song;
    this.outputs = outputs;
    this.apply = apply;
    this.totalDb = START_LEVEL_DB;
    this.ceilingDb = CEILINGS_DB[0];
    this.token = "";
    this.take(song.balance);
  }

  get noteName() {
    return `balance:${this.song.reader}:${this.song.id}`;
  }

  take(kept) {
    this.changedAt = kept?.changed_at ?? "";
    this.levels = levelsFrom(kept?.levels, this.song.lanes);
    this.tell();
  }

  /** What was changed here and is not at the house yet is newer than what the house has. */
  async begin() {
    const kept = await note(this.noteName).catch(() => null);
    if (!kept || kept.isSent || Date.parse(kept.changed_at) <= Date.parse(this.changedAt || 0)) return;
    this.take(kept);
    this.isDue = true;
  }

  change(change) {
    Object.assign(this.levels, change);
    this.changedAt = new Date().toISOString();
    this.isDue = true;
    this.tell();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.save(), QUIET_AFTER_MS);
  }

  setTotal(totalDb) {
    this.totalDb = totalDb;
    this.tell();
  }

  setCeiling(ceilingDb) {
    this.ceilingDb = ceilingDb;
    this.tell();
  }

  get current() {
    const { levels, song, totalDb, ceilingDb } = this;
    const gains = gainsOf(levels, song.lanes);
    const [pairs, clickPeakDb] = [this.outputs.pairs(song.lanes), song.click.accent_peak_dbfs];
    const bound = boundOf(gains, song.lanes, { totalDb, ceilingDb, pairs, clickPeakDb });
    return { ...gains, levelDb: totalDb + levelOfGain(bound), heldDb: -levelOfGain(bound) };
  }

  tell() {
    this.apply(this.current);
  }

  /** Quietly: where it cannot be sent it stays here, and goes with the next try. */
  async save() {
    const { levels, changedAt } = this;
    await this.keep(false);
    if (!this.isDue || !this.token) return;
    const answer = await fetch(`/kit/${this.song.id}/balance/`, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-CSRFToken": this.token },
      body: JSON.stringify({ levels, changed_at: changedAt }),
      redirect: "manual",
    }).catch(() => null);
    if (!answer?.ok || changedAt !== this.changedAt) return;
    this.isDue = false;
    await this.keep(true);
  }

  keep(isSent) {
    const { levels, changedAt: changed_at, song } = this;
    return keepNote(this.noteName, { reader: song.reader, levels, changed_at, isSent }).catch(() => null);
  }
}
