// The takes of a song: logged here first, sent when the house can be reached, each once and in order.
import { keepsRows } from "kitpost/lib/kept";
import { forgetTake, inOrder, keepTake, postTakes, waitingTakes } from "kitpost/lib/take-queue";

export class Takes {
  /** `onChange` is called whenever what is shown may have changed. */
  constructor(song, onChange) {
    this.song = song;
    this.onChange = onChange;
    this.token = "";
    this.trouble = "";
    this.undos = [];
    this.all = new Map(song.takes.map((take) => [take.id, take]));
  }

  /** What was logged here before and not sent stands with the others. */
  async begin() {
    this.isKept = await keepsRows();
    for (const take of await waitingTakes(this.song.reader))
      if (take.song === this.song.id) this.all.set(take.id, { ...take, is_sent: false });
    this.onChange();
  }

  /** In the order they were logged, without those taken back. */
  get standing() {
    return [...this.all.values()].filter((take) => !take.is_undone).sort(inOrder);
  }

  get waiting() {
    return [...this.all.values()].filter((take) => !take.is_sent);
  }

  get nextNumber() {
    return Math.max(0, ...this.standing.map((take) => take.number)) + 1;
  }

  get last() {
    return this.standing.at(-1) ?? null;
  }

  /** `played`: {section, speed_percent}. */
  log(played) {
    const take = { ...played, id: crypto.randomUUID(), number: this.nextNumber, logged_at: new Date().toISOString() };
    this.undos.push({ id: take.id, before: { is_undone: true } });
    return this.set({ ...take, revision: 0, is_kept: false, word: "", is_undone: false }, {});
  }

  /** Kept, or not; pressed again it turns round. */
  async toggleKept() {
    const take = this.last;
    if (!take) return null;
    this.undos.push({ id: take.id, before: { is_kept: take.is_kept } });
    return this.set(take, { is_kept: !take.is_kept });
  }

  async setWord(word) {
    const take = this.last;
    if (!take) return null;
    this.undos.push({ id: take.id, before: { word: take.word } });
    return this.set(take, { word: word.trim().slice(0, 80) });
  }

  /** Takes back the last thing that was done here; null where there is nothing. */
  async undo() {
    const step = this.undos.pop();
    return step ? this.set(this.all.get(step.id), step.before) : null;
  }

  async set(take, change) {
    const { id: song, reader } = this.song;
    const next = { ...take, ...change, song, reader, revision: take.revision + 1, is_sent: false };
    this.all.set(next.id, next);
    await keepTake(next).catch(() => (this.isKept = false));
    this.onChange();
    return next;
  }

  /** Everything that waits, in order. One sending at a time; what was changed meanwhile goes with the next. */
  async send() {
    if (this.isSending || !this.token) return;
    this.isSending = true;
    try {
      while (this.waiting.length && (await this.sendNow()));
    } finally {
      this.isSending = false;
      this.onChange();
    }
  }

  async sendNow() {
    const sent = this.waiting.sort(inOrder).slice(0, 100);
    const answer = await postTakes(this.song.id, sent, this.token);
    this.trouble = answer?.sentence ?? "";
    if (!answer?.takes) return false;
    for (const take of sent) {
      const now = this.all.get(take.id);
      if (now.revision !== take.revision) continue;
      this.all.set(take.id, { ...now, is_sent: true });
      await forgetTake(take.id);
    }
    this.takeFromHouse(answer.takes);
    return true;
  }

  /** What other devices logged; what waits here is newer. */
  takeFromHouse(takes) {
    for (const take of takes) if (this.all.get(take.id)?.is_sent !== false) this.all.set(take.id, take);
    this.song.takes = takes;
    this.onHouse?.();
    this.onChange();
  }
}
