// Tells the server how many files this tab still has to send, so that nothing is said about a song before all of it is
// there. Said again and again while there are any; a tab that is gone says nothing more, and is forgotten.

const REPEAT_MS = 20_000;

export class Announcer {
  /** `url`: where it is said; empty where nobody waits for it. */
  constructor(url, token) {
    this.url = url;
    this.token = token;
    this.tab = crypto.getRandomValues(new Uint32Array(4)).join("-").slice(0, 40);
    this.files = 0;
    this.hasLeft = false;
  }

  /** Called as often as one likes: it is said when the number changes, and every 20 seconds. */
  say(files) {
    if (!this.url || this.hasLeft) return;
    const isDue = files > 0 && performance.now() - this.saidAt >= REPEAT_MS;
    if (files === this.files && !isDue) return;
    this.files = files;
    this.saidAt = performance.now();
    clearTimeout(this.timer);
    if (files) this.timer = setTimeout(() => this.say(this.files), REPEAT_MS);
    // In the order in which it was said; what is lost is said again.
    this.saying = (this.saying ?? Promise.resolve()).then(() => {
      if (this.hasLeft && files) return null;
      return fetch(this.url, { method: "POST", body: this.form(files), keepalive: true }).catch(() => {});
    });
  }

  /** The page is shown again, from the browser's memory: what it has to send counts once more. */
  comeBack() {
    this.hasLeft = false;
  }

  /** The page goes: its files are no longer waited for, and nothing that ends late says otherwise. */
  leave() {
    clearTimeout(this.timer);
    this.hasLeft = true;
    if (!this.files) return;
    this.files = 0;
    navigator.sendBeacon(this.url, this.form(0));
  }

  form(count) {
    const form = new FormData();
    form.append("tab", this.tab);
    form.append("count", count);
    form.append("csrfmiddlewaretoken", this.token);
    return form;
  }
}
