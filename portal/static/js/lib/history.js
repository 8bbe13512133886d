// Steps that can be undone.

/** What was, what is, and what was undone. */
export class History {
  constructor(state, { past = [], future = [] } = {}) {
    this.past = past;
    this.now = state;
    this.future = future;
  }

  take(state) {
    if (state === this.now) return false;
    this.past.push(this.now);
    this.now = state;
    this.future = [];
    return true;
  }

  undo() {
    if (!this.past.length) return false;
    this.future.push(this.now);
    this.now = this.past.pop();
    return true;
  }

  redo() {
    if (!this.future.length) return false;
    this.past.push(this.now);
    this.now = this.future.pop();
    return true;
  }
}
