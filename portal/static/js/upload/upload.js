// Sends files piece by piece, so that a dropped connection goes on where it was: several at once, and whole folders.
//
//   <form data-upload data-upload-url="/tus/" data-upload-purpose="source" data-upload-target="12"
//         data-upload-announce="/songs/12/files/announce/">
//     <label class="dropzone">… <input type="file"></label> <p data-upload-plain>…</p>
//     <p data-upload-folder hidden>…<input type="file" webkitdirectory></p> <p data-upload-notes hidden></p>
//     <ul data-upload-unfinished><li data-url data-name data-size data-modified>…</li></ul>
//     <div data-upload-total hidden></div> <ul data-upload-list></ul> <p role="status" data-upload-status></p>
//   </form>
//
// Each file that was received sends "upload:received" to the body. Without this script the form is a plain one.
import { attach } from "kitpost/lib/attach";
import { Announcer } from "kitpost/upload/announcer";
import { filesWords, gatherChosen, gatherDropped, leftOutWords } from "kitpost/upload/gather";
import { Sending, askAnewBeside, element } from "kitpost/upload/sender";
import { progressWords, rate, recent, size } from "kitpost/upload/sending";

const AT_ONCE = 2;
const RATE_WINDOW_S = 8;
const SHOWN_AFTER_MS = 4_000;

class UploadForm {
  constructor(form) {
    this.element = form;
    this.ending = new AbortController();
    for (const part of ["plain", "folder", "notes", "unfinished", "total", "list", "status"]) {
      this[part] = form.querySelector(`[data-upload-${part}]`);
    }
    this.zone = form.querySelector(".dropzone");
    this.input = this.zone.querySelector('input[type="file"]');
    this.sendings = [];
    this.announcer = new Announcer(form.dataset.uploadAnnounce, form.elements.csrfmiddlewaretoken.value);
    this.forget();
    this.plain.hidden = true;
    form.dataset.ready = "";
    this.buildTotal();
    this.listen(form, "submit", (event) => event.preventDefault());
    this.listen(this.input, "change", () => this.choose(this.input));
    this.listen(this.zone, "dragover", (event) => this.over(event));
    this.listen(this.zone, "dragleave", () => delete this.zone.dataset.over);
    this.listen(this.zone, "drop", (event) => this.dropped(event));
    this.listen(window, "offline", () => this.line(false));
    this.listen(window, "online", () => this.line(true));
    this.listen(window, "beforeunload", (event) => {
      if (this.isBusy) event.preventDefault();
    });
    this.listen(window, "pagehide", () => this.announcer.leave());
    this.listen(window, "pageshow", () => {
      this.announcer.comeBack();
      this.show();
    });
    this.listen(document.body, "htmx:beforeRequest", ({ detail }) => this.asked(detail));
    this.listen(document.body, "htmx:afterSwap", ({ detail }) => this.listed(detail.xhr));
    this.listen(this.list, "pointerenter", () => (this.isUnderHand = true));
    this.listen(this.list, "pointerleave", () => {
      this.isUnderHand = false;
      this.clear();
    });
    this.offerFolder();
    this.offerToGiveUp();
  }

  listen(target, type, act) {
    target.addEventListener(type, act, { signal: this.ending.signal });
  }

  /** Phones that cannot choose a folder are not offered one. */
  offerFolder() {
    const input = this.folder?.querySelector("input");
    if (!input || !("webkitdirectory" in input)) return;
    this.folder.hidden = false;
    this.listen(this.folder.querySelector("button"), "click", () => input.click());
    this.listen(input, "change", () => this.choose(input));
  }

  offerToGiveUp() {
    for (const item of this.unfinished?.children ?? []) {
      const button = item.querySelector("button");
      button.hidden = false;
      this.listen(button, "click", () => {
        window.tus.Upload.terminate(item.dataset.url, {
          headers: { "X-CSRFToken": this.element.elements.csrfmiddlewaretoken.value },
        }).catch(() => {});
        item.remove();
        this.unfinished.hidden = !this.unfinished.children.length;
      });
    }
  }

  buildTotal() {
    this.totalText = element("p", "sum");
    this.totalBar = element("progress", "");
    this.totalBar.setAttribute("aria-label", "All files, sent");
    this.offline = element("p", "offline", "You are offline: the upload resumes automatically.");
    this.offline.setAttribute("role", "status");
    const actions = element("p", "actions");
    this.hold = element("button", "", "Pause all");
    this.hold.type = "button";
    this.listen(this.hold, "click", () => this.holdAll());
    actions.append(this.hold);
    this.total.append(this.totalText, actions, this.totalBar, this.offline);
  }

  over(event) {
    event.preventDefault();
    this.zone.dataset.over = "";
  }

  async dropped(event) {
    event.preventDefault();
    delete this.zone.dataset.over;
    this.take(await gatherDropped(event.dataTransfer));
  }

  choose(input) {
    this.take(gatherChosen(input.files));
    input.value = "";
  }

  take({ files, leftOut }) {
    if (this.forgetOnNext) this.forget();
    const sentWith = files.length > 1 ? crypto.getRandomValues(new Uint32Array(4)).join("-").slice(0, 40) : "";
    for (const { file, folder } of files) {
      const sending = new Sending(this, { file, folder, sentWith, url: this.urlOfUnfinished(file) });
      this.sendings.push(sending);
      this.list.append(sending.row);
      this.bytes += file.size;
      this.count += 1;
    }
    this.notes.textContent =
      leftOutWords(leftOut) + (leftOut.length && !files.length ? " There is nothing else in it." : "");
    this.notes.hidden = !leftOut.length;
    this.line(navigator.onLine);
    this.next();
  }

  /** What the server knows of this very file, from whichever browser it came. */
  urlOfUnfinished(file) {
    const item = [...(this.unfinished?.children ?? [])].find(
      ({ dataset }) =>
        dataset.name === file.name &&
        Number(dataset.size) === file.size &&
        Number(dataset.modified) === file.lastModified,
    );
    if (!item) return null;
    item.remove();
    this.unfinished.hidden = !this.unfinished.children.length;
    return item.dataset.url;
  }

  next() {
    if (navigator.onLine) {
      const free = AT_ONCE - this.sendings.filter((sending) => sending.isUnderWay).length;
      this.sendings
        .filter((sending) => sending.state === "waiting")
        .slice(0, Math.max(0, free))
        .forEach((sending) => sending.start());
    }
    this.show();
  }

  line(isOnline) {
    if (isOnline) this.sendings.forEach((sending) => sending.again());
    else this.sendings.forEach((sending) => sending.goOffline());
    this.next();
  }

  holdAll() {
    const isHeld = this.isHeld;
    for (const sending of this.sendings) isHeld ? sending.goOn() : sending.pause();
  }

  moved(bytes) {
    this.sentNow += bytes;
    this.moments.push({ atS: performance.now() / 1000, bytes: this.sentNow });
    this.moments = recent(this.moments, RATE_WINDOW_S);
    this.show();
  }

  changed(sending, words) {
    this.status.textContent = `${sending.file.name}: ${words}`;
    if (sending.state === "received") {
      this.received += 1;
      this.receivedBytes += sending.file.size;
    } else if (sending.state === "refused") {
      this.bytes -= sending.file.size;
      this.count -= 1;
    }
    if (sending.state === "received" && !this.sendings.some((one) => one.state === "sending"))
      askAnewBeside(this.element);
    if (sending.state === "received") setTimeout(() => this.listedAtLast(sending), SHOWN_AFTER_MS);
    if (sending.state !== "sending") this.next();
  }

  /** A list of files that looks again now will hold what was received before. */
  asked({ elt, xhr }) {
    if (!elt.getAttribute("hx-trigger")?.includes("upload:received")) return;
    for (const sending of this.sendings) if (sending.state === "received") sending.asked = xhr;
  }

  listed(xhr) {
    for (const sending of this.sendings) if (sending.asked && sending.asked === xhr) sending.isListed = true;
    this.clear();
  }

  /** Where no list looks again, or its answer was lost. */
  listedAtLast(sending) {
    sending.isListed = true;
    this.clear();
  }

  /** One row a file: ours goes when the file has its own. Not under the hand, where the next row's keys would move. */
  clear() {
    if (this.isUnderHand) return;
    for (const sending of this.sendings) if (sending.isListed) this.drop(sending);
  }

  drop(sending) {
    if (sending.state === "stopped" && this.sendings.includes(sending) && !sending.row.classList.contains("failed")) {
      this.bytes -= sending.file.size;
      this.count -= 1;
    }
    sending.row.remove();
    this.sendings = this.sendings.filter((other) => other !== sending);
    this.next();
  }

  /** The sum over all files; it stays after the last one, until the next are chosen. */
  show() {
    const open = this.sendings.filter((sending) => !sending.isOver);
    this.announcer.say(open.length);
    this.list.hidden = !this.sendings.length;
    this.total.hidden = !this.count;
    this.total.classList.toggle("done", !open.length);
    this.offline.hidden = navigator.onLine || !open.length;
    this.hold.hidden = this.totalBar.hidden = !open.length || this.count === 1;
    this.totalText.hidden = open.length > 0 && this.count === 1;
    this.hold.textContent = this.isHeld ? "Resume all" : "Pause all";
    if (!open.length) {
      this.totalText.textContent = `${filesWords(this.received)} received, ${size(this.receivedBytes)}`;
      if (!this.sendings.length) this.forgetOnNext = true;
      return;
    }
    const sent = this.receivedBytes + open.reduce((sum, sending) => sum + sending.sent, 0);
    const isMoving = open.some((sending) => sending.state === "sending");
    this.totalBar.max = Math.max(1, this.bytes);
    this.totalBar.value = sent;
    const words = progressWords(sent, this.bytes, isMoving ? rate(this.moments) : 0);
    this.totalText.textContent = `${this.received} of ${filesWords(this.count)} received: ${words}`;
  }

  forget() {
    Object.assign(this, {
      bytes: 0,
      count: 0,
      received: 0,
      receivedBytes: 0,
      sentNow: 0,
      moments: [],
      forgetOnNext: false,
    });
  }

  get isHeld() {
    const open = this.sendings.filter((sending) => !sending.isOver);
    return open.length > 0 && open.every((sending) => sending.state === "paused");
  }

  get isBusy() {
    return this.sendings.some((sending) => !sending.isOver);
  }

  end() {
    this.ending.abort();
    this.sendings.forEach((sending) => sending.leave());
    this.announcer.leave();
  }
}

attach("[data-upload]", (form) => {
  const uploadForm = new UploadForm(form);
  return () => uploadForm.end();
});
