// The few keys of the page: each does one thing, stands on its button, and can be given another key on this device.
import { isForUs, isSwitchedOff } from "kitpost/page/keys";

const KEPT = "kitpost-kit-keys";
export const KEYS = {
  top: "t",
  section: "p",
  play: "space",
  stop: "s",
  loop: "l",
  slower: "-",
  faster: "+",
  louder: "c",
  softer: "x",
  take: "g",
  keep: "k",
  word: "w",
  undo: "u",
  back: "arrowleft",
  on: "arrowright",
  count: "i",
  parts: "d",
  silence: "b",
  steps: "n",
  lock: "h",
  chart: "v",
};
const NAMES = { arrowleft: "←", arrowright: "→", arrowup: "↑", arrowdown: "↓", space: "Space", enter: "Enter" };

/** How a key is stored: its sign in lower case, or its name. */
export function keyOf(event) {
  return event.key === " " ? "space" : event.key.toLowerCase();
}

export function keyName(key) {
  return NAMES[key] ?? (key.length === 1 ? key.toUpperCase() : key[0].toUpperCase() + key.slice(1));
}

export class Keys {
  /** `press` is called with what a key stands for. */
  constructor(element, press) {
    this.element = element;
    this.press = press;
    this.keys = { ...KEYS, ...stored() };
    this.onKey = (event) => this.take(event);
    document.addEventListener("keydown", this.onKey);
    this.show();
  }

  take(event) {
    if (isSwitchedOff() || !isForUs(event)) return;
    const key = keyOf(event);
    if (belongsTo(event.target, key)) return;
    const what = key === "escape" ? "stop" : Object.keys(this.keys).find((one) => this.keys[one] === key);
    if (!what) return;
    event.preventDefault();
    this.press(what);
  }

  /** Give `what` another key; who had it gets the old one. Answers who that was, or null. */
  assign(what, key) {
    const other = Object.keys(this.keys).find((one) => one !== what && this.keys[one] === key) ?? null;
    if (other) this.keys[other] = this.keys[what];
    this.keys[what] = key;
    keep(this.keys);
    this.show();
    return other;
  }

  reset() {
    this.keys = { ...KEYS };
    keep({});
    this.show();
  }

  /** Each button says its key, for eyes and for readers. */
  show() {
    for (const button of this.element.querySelectorAll("[data-kit-do]")) {
      const key = this.keys[button.dataset.kitDo];
      if (!key) continue;
      button.setAttribute("aria-keyshortcuts", keyName(key));
      const sign = button.querySelector("kbd");
      if (sign) sign.textContent = keyName(key);
    }
  }

  leave() {
    document.removeEventListener("keydown", this.onKey);
  }
}

/** Whether a key is for what has the focus: in a dialog all are, and on a button Space and Enter press that button. */
function belongsTo(target, key) {
  if (target.closest?.("dialog, .hearing")) return true;
  return ["space", "enter"].includes(key) && Boolean(target.closest?.("button, summary, a, input"));
}

function stored() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEPT) ?? "{}");
    return Object.fromEntries(Object.entries(kept).filter(([what, key]) => KEYS[what] && typeof key === "string"));
  } catch {
    return {};
  }
}

function keep(keys) {
  try {
    localStorage.setItem(KEPT, JSON.stringify(keys));
  } catch {
    // Storage is off: the keys hold until the page is closed.
  }
}
