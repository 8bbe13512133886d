// One file on its way: its row on the page, and its upload, which goes on where it was.
import { fingerprint, isRefusal, progressWords, rate, recent } from "kitpost/upload/sending";
import "kitpost/tus";

const RATE_WINDOW_S = 5;
const TRY_AGAIN_MS = 15_000;
const RETRY_DELAYS_MS = [0, 1_000, 3_000, 5_000, 10_000, 20_000, 30_000, 60_000];
const BROKEN = "Connection lost; retrying";
const OFFLINE = "You are offline: the upload resumes automatically";

/** What the form asks beside the file: its fields in `data-upload-beside`, by name. */
function saidBeside(form) {
  const fields = form.querySelectorAll("[data-upload-beside] [name]");
  return Object.fromEntries([...fields].map(({ name, value }) => [name, value]));
}

/** What was said goes with the files that it was said of: the next ones begin as usual. */
export function askAnewBeside(form) {
  for (const option of form.querySelectorAll("[data-upload-beside] option")) option.selected = option.defaultSelected;
}

/** States: waiting → sending ↔ paused, broken (tried again) or offline → received, refused or stopped.
 *  The form is told of each change: `changed(sending, words)`, `moved(bytes)`, `drop(sending)`. */
export class Sending {
  constructor(form, { file, folder, sentWith, url }) {
    this.form = form;
    this.file = file;
    this.folder = folder;
    this.sentWith = sentWith;
    this.state = "waiting";
    this.sent = 0;
    this.moments = [];
    this.build();
    this.upload = new window.tus.Upload(file, this.options());
    this.upload.url = url ?? null;
  }

  options() {
    const { uploadUrl, uploadPurpose: purpose, uploadTarget: target } = this.form.element.dataset;
    const { name, lastModified } = this.file;
    return {
      endpoint: uploadUrl,
      metadata: {
        filename: name,
        purpose,
        target,
        folder: this.folder,
        sentwith: this.sentWith,
        modified: String(lastModified),
        ...saidBeside(this.form.element),
      },
      headers: { "X-CSRFToken": this.form.element.elements.csrfmiddlewaretoken.value },
      retryDelays: RETRY_DELAYS_MS,
      removeFingerprintOnSuccess: true,
      fingerprint: async (file) => fingerprint(file, purpose, target, this.folder),
      onShouldRetry: (error) => this.mayTryAgain(error),
      onProgress: (sent, total) => this.progress(sent, total),
      onSuccess: () => this.received(),
      onError: (error) => this.failed(error),
    };
  }

  build() {
    this.row = element("li", "upload");
    const name = element("span", "name", this.file.name);
    if (this.folder) name.append(element("span", "folder", ` in ${this.folder}`));
    this.sizeText = element("span", "size", progressWords(0, this.file.size, 0));
    this.bar = element("progress", "");
    this.bar.max = Math.max(1, this.file.size);
    this.bar.value = 0;
    this.bar.setAttribute("aria-label", `${this.file.name}, sent`);
    this.stateText = element("span", "state", "Waiting");
    this.actions = element("span", "actions");
    this.hold = this.button("Pause", () => (this.state === "paused" ? this.goOn() : this.pause()));
    this.stop = this.button("Remove", () => this.giveUp());
    this.row.append(name, this.sizeText, this.bar, this.stateText, this.actions);
  }

  button(words, act) {
    const made = element("button", "plain", words);
    made.type = "button";
    made.setAttribute("aria-label", `${words} ${this.file.name}`);
    made.addEventListener("click", act);
    this.actions.append(made);
    return made;
  }

  async start() {
    this.last = null;
    this.moments = [];
    this.say("sending", this.sent ? "Resuming" : "Sending");
    if (!this.upload.url) {
      const [earlier] = await this.upload.findPreviousUploads();
      if (this.state !== "sending") return;
      if (earlier) this.upload.resumeFromPreviousUpload(earlier);
    }
    if (this.upload.url) this.stateText.textContent = "Resuming";
    this.upload.start();
  }

  mayTryAgain(error) {
    if (!navigator.onLine || isRefusal(statusOf(error))) return false;
    this.last = null;
    this.say("sending", statusOf(error) === 423 ? "An earlier connection is still open; retrying" : BROKEN);
    return true;
  }

  progress(sent, total) {
    if (this.state !== "sending") return;
    this.moments.push({ atS: performance.now() / 1000, bytes: sent });
    this.moments = recent(this.moments, RATE_WINDOW_S);
    this.bar.value = sent;
    this.sent = sent;
    this.sizeText.textContent = progressWords(sent, total, rate(this.moments));
    this.stateText.textContent = sent < total ? "Sending" : "Sent; storing and verifying";
    this.form.moved(this.last === null ? 0 : sent - this.last);
    this.last = sent;
  }

  received() {
    this.bar.value = this.bar.max;
    this.sent = this.file.size;
    this.row.classList.add("done");
    this.actions.remove();
    this.say("received", "Received");
    document.body.dispatchEvent(new CustomEvent("upload:received"));
  }

  failed(error) {
    if (this.state === "paused" || this.state === "stopped") return;
    if (isRefusal(statusOf(error))) {
      this.row.classList.add("failed");
      this.hold.remove();
      this.relabel(this.stop, "Close");
      this.say("refused", error.originalResponse.getBody().split("\n")[0].slice(0, 300) || "The file was refused.");
      return;
    }
    if (!navigator.onLine) {
      this.goOffline();
      return;
    }
    this.say("broken", BROKEN);
    this.timer = setTimeout(() => this.again(), TRY_AGAIN_MS);
  }

  /** The browser knows sooner than a request that hangs. */
  goOffline() {
    if (!this.isUnderWay) return;
    clearTimeout(this.timer);
    this.upload.abort();
    this.say("offline", OFFLINE);
  }

  again() {
    if (this.state !== "broken" && this.state !== "offline") return;
    clearTimeout(this.timer);
    this.start();
  }

  pause() {
    if (this.isOver || this.state === "paused") return;
    clearTimeout(this.timer);
    if (this.isUnderWay) this.upload.abort();
    this.relabel(this.hold, "Resume");
    this.say("paused", this.sent ? "Paused; what was sent is saved" : "Paused");
  }

  goOn() {
    if (this.state !== "paused") return;
    this.relabel(this.hold, "Pause");
    this.say("waiting", "Waiting");
  }

  giveUp() {
    clearTimeout(this.timer);
    const isThere = !this.isOver && this.upload.url;
    const wasUnderWay = this.isUnderWay;
    this.state = "stopped";
    if (wasUnderWay || isThere) this.upload.abort(true).catch(() => {});
    this.form.drop(this);
  }

  /** Leaving the page stops it without giving it up: chosen again, the file goes on. */
  leave() {
    clearTimeout(this.timer);
    if (this.isUnderWay) this.upload.abort();
  }

  say(state, words) {
    this.state = state;
    if (state !== "sending") this.sizeText.textContent = progressWords(this.sent, this.file.size, 0);
    this.row.dataset.state = state;
    this.stateText.textContent = words;
    this.form.changed(this, words);
  }

  relabel(button, words) {
    button.textContent = words;
    button.setAttribute("aria-label", `${words} ${this.file.name}`);
  }

  get isUnderWay() {
    return this.state === "sending" || this.state === "broken";
  }

  get isOver() {
    return this.state === "received" || this.state === "refused" || this.state === "stopped";
  }
}

function statusOf(error) {
  return error.originalResponse?.getStatus() ?? 0;
}

export function element(tag, className, text = "") {
  const made = document.createElement(tag);
  made.className = className;
  made.textContent = text;
  return made;
}
