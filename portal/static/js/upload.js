// Sends files piece by piece, so that a dropped connection goes on where it was.
//
//   <form data-upload data-upload-url="/tus/" data-upload-purpose="source" data-upload-target="12">
//     <label class="dropzone">… <input type="file"></label> <p data-upload-plain>…</p>
//     <ul data-upload-list></ul> <p role="status" data-upload-status></p>
//   </form>
//
// Each file that was received sends "upload:received" to the body. Without this script the form is a plain one.
import { attach } from "kitpost/attach";
import { fingerprint, isRefusal, progressWords, rate, recent } from "kitpost/sending";
import "kitpost/tus";

const AT_ONCE = 2;
const RATE_WINDOW_S = 5;
const TRY_AGAIN_MS = 15_000;
const RETRY_DELAYS_MS = [0, 1_000, 3_000, 5_000, 10_000, 20_000, 30_000, 60_000];
const SHOWN_AFTER_MS = 4_000;
const BROKEN = "The connection broke; trying again";

class Sending {
  constructor(form, file) {
    this.form = form;
    this.file = file;
    this.state = "waiting";
    this.moments = [];
    this.build();
    this.upload = new window.tus.Upload(file, this.options());
  }

  options() {
    const { uploadUrl, uploadPurpose: purpose, uploadTarget: target } = this.form.element.dataset;
    return {
      endpoint: uploadUrl,
      metadata: { filename: this.file.name, purpose, target },
      headers: { "X-CSRFToken": this.form.element.elements.csrfmiddlewaretoken.value },
      retryDelays: RETRY_DELAYS_MS,
      removeFingerprintOnSuccess: true,
      fingerprint: async (file) => fingerprint(file, purpose, target),
      onShouldRetry: (error) => this.mayTryAgain(error),
      onProgress: (sent, total) => this.progress(sent, total),
      onSuccess: () => this.received(),
      onError: (error) => this.failed(error),
    };
  }

  build() {
    this.row = document.createElement("li");
    this.row.className = "upload";
    const name = element("span", "name", this.file.name);
    this.sizeText = element("span", "size", progressWords(0, this.file.size, 0));
    this.bar = document.createElement("progress");
    this.bar.max = Math.max(1, this.file.size);
    this.bar.value = 0;
    this.bar.setAttribute("aria-label", `${this.file.name}, sent`);
    this.stateText = element("span", "state", "Waiting for its turn");
    const actions = element("span", "actions");
    this.stop = document.createElement("button");
    this.stop.type = "button";
    this.stop.className = "plain";
    this.stop.textContent = "Don’t send";
    this.stop.setAttribute("aria-label", `Don’t send ${this.file.name}`);
    this.stop.addEventListener("click", () => this.giveUp());
    actions.append(this.stop);
    this.row.append(name, this.sizeText, this.bar, this.stateText, actions);
  }

  async start() {
    this.say("sending", "Sending");
    const [earlier] = await this.upload.findPreviousUploads();
    if (this.state !== "sending") return;
    if (earlier) {
      this.upload.resumeFromPreviousUpload(earlier);
      this.stateText.textContent = "Going on where it was";
    }
    this.upload.start();
  }

  mayTryAgain(error) {
    if (!navigator.onLine || isRefusal(statusOf(error))) return false;
    this.say("sending", statusOf(error) === 423 ? "An earlier connection still holds it; trying again" : BROKEN);
    return true;
  }

  progress(sent, total) {
    this.moments.push({ atS: performance.now() / 1000, bytes: sent });
    this.moments = recent(this.moments, RATE_WINDOW_S);
    this.bar.value = sent;
    this.sizeText.textContent = progressWords(sent, total, rate(this.moments));
    this.stateText.textContent = sent < total ? "Sending" : "Sent; being stored and read back";
  }

  received() {
    this.bar.value = this.bar.max;
    this.say("received", "Received");
    this.row.classList.add("done");
    this.stop.remove();
    document.body.dispatchEvent(new CustomEvent("upload:received"));
    setTimeout(() => this.form.drop(this), SHOWN_AFTER_MS);
  }

  failed(error) {
    const status = statusOf(error);
    if (isRefusal(status)) {
      this.say("refused", error.originalResponse.getBody().split("\n")[0].slice(0, 300) || "It was refused.");
      this.row.classList.add("failed");
      this.stop.textContent = "Close";
      return;
    }
    this.say("broken", navigator.onLine ? BROKEN : "No connection; it goes on when there is one");
    this.timer = setTimeout(() => this.again(), TRY_AGAIN_MS);
  }

  again() {
    if (this.state !== "broken") return;
    clearTimeout(this.timer);
    this.moments = [];
    this.say("sending", "Going on where it was");
    this.upload.start();
  }

  giveUp() {
    clearTimeout(this.timer);
    const wasUnderWay = this.isUnderWay;
    this.state = "stopped";
    if (wasUnderWay) this.upload.abort(true).catch(() => {});
    this.form.drop(this);
  }

  /** Leaving the page stops it without giving it up: chosen again, the file goes on. */
  leave() {
    clearTimeout(this.timer);
    if (this.isUnderWay) this.upload.abort();
  }

  say(state, words) {
    this.state = state;
    this.stateText.textContent = words;
    this.form.stateChanged(this, words);
  }

  get isUnderWay() {
    return this.state === "sending" || this.state === "broken";
  }

  get isOver() {
    return this.state === "received" || this.state === "refused" || this.state === "stopped";
  }
}

class UploadForm {
  constructor(form) {
    this.element = form;
    this.zone = form.querySelector(".dropzone");
    this.input = form.querySelector('input[type="file"]');
    this.list = form.querySelector("[data-upload-list]");
    this.status = form.querySelector("[data-upload-status]");
    this.sendings = [];
    form.querySelector("[data-upload-plain]").hidden = true;
    const listen = (target, type, act) => target.addEventListener(type, act, { signal: this.ending.signal });
    this.ending = new AbortController();
    listen(form, "submit", (event) => event.preventDefault());
    listen(this.input, "change", () => this.take(this.input.files));
    listen(this.zone, "dragover", (event) => this.over(event));
    listen(this.zone, "dragleave", () => delete this.zone.dataset.over);
    listen(this.zone, "drop", (event) => this.dropped(event));
    listen(window, "online", () => this.sendings.forEach((sending) => sending.again()));
    listen(window, "beforeunload", (event) => {
      if (this.isBusy) event.preventDefault();
    });
  }

  over(event) {
    event.preventDefault();
    this.zone.dataset.over = "";
  }

  dropped(event) {
    event.preventDefault();
    delete this.zone.dataset.over;
    this.take(event.dataTransfer.files);
  }

  take(files) {
    for (const file of files) {
      const sending = new Sending(this, file);
      this.sendings.push(sending);
      this.list.append(sending.row);
    }
    this.input.value = "";
    this.list.hidden = !this.sendings.length;
    this.next();
  }

  next() {
    const free = AT_ONCE - this.sendings.filter((sending) => sending.isUnderWay).length;
    this.sendings.filter((sending) => sending.state === "waiting").slice(0, Math.max(0, free)).forEach((sending) => sending.start());
  }

  stateChanged(sending, words) {
    this.status.textContent = `${sending.file.name}: ${words}`;
    if (sending.isOver) this.next();
  }

  drop(sending) {
    sending.row.remove();
    this.sendings = this.sendings.filter((other) => other !== sending);
    this.list.hidden = !this.sendings.length;
    this.next();
  }

  get isBusy() {
    return this.sendings.some((sending) => !sending.isOver);
  }

  end() {
    this.ending.abort();
    this.sendings.forEach((sending) => sending.leave());
  }
}

function statusOf(error) {
  return error.originalResponse?.getStatus() ?? 0;
}

function element(tag, className, text = "") {
  const made = document.createElement(tag);
  made.className = className;
  made.textContent = text;
  return made;
}

attach("[data-upload]", (form) => {
  const uploadForm = new UploadForm(form);
  return () => uploadForm.end();
});
