// Single keys that press what the page marks with them, and arrows that go from row to row.
//
//   <button data-key="a">…</button>     pressed by A, wherever the focus is, except in fields and players
//   <table data-key-rows>               ↓ and ↑ go from link to link of its rows; N opens the first [data-key-next]
//   <input type="checkbox" data-keys-switch>   turns them off and on, kept in this browser
//
//   <span hidden data-key="a" data-key-says="Approved already.">   what A answers while there is nothing to press
//
// Nothing happens with Ctrl, Alt or the system key held, nor where something else has taken the key already: a picture
// with keys of its own (`data-own-keys`) comes first, and what it does not use is the page's.
import { attach } from "kitpost/lib/attach";

const OFF = "kitpost-keys-off";
// Sliders, boxes and buttons are fields that nobody types letters into: a key must not go dead after a press on one.
const TYPED_INTO =
  "input:not([type=range], [type=checkbox], [type=radio], [type=submit], [type=button]), textarea, select, " +
  "[contenteditable], audio";

export function isForUs(event) {
  if (event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey || event.repeat) return false;
  return !event.target.closest?.(TYPED_INTO);
}

export function isSwitchedOff() {
  return localStorage.getItem(OFF) === "yes";
}

function rowLinks() {
  return [...document.querySelectorAll("[data-key-rows] tbody tr")]
    .map((row) => row.querySelector("a"))
    .filter(Boolean);
}

function step(by) {
  const links = rowLinks();
  if (!links.length) return false;
  const at = links.indexOf(document.activeElement);
  const next = at < 0 ? (by > 0 ? 0 : links.length - 1) : Math.min(Math.max(at + by, 0), links.length - 1);
  links[next].focus();
  return true;
}

function press(key) {
  if (key === "n" && document.querySelector("[data-key-rows]")) {
    const next = document.querySelector("[data-key-next] a");
    next?.click();
    return Boolean(next);
  }
  const marked = [...document.querySelectorAll(`[data-key="${CSS.escape(key)}"]`)];
  const wanted = marked.find((one) => one.offsetParent);
  if (wanted) wanted.click();
  else say(marked.find((one) => one.dataset.keySays)?.dataset.keySays);
  return marked.length > 0;
}

/** Why a key does nothing now, where the page says what it has just done. */
function say(words) {
  const status = document.querySelector("main [role=status]");
  if (!words || !status) return;
  const notice = Object.assign(document.createElement("p"), { className: "key-said", textContent: words });
  status.querySelector(".key-said")?.remove();
  status.append(notice);
}

document.addEventListener("keydown", (event) => {
  if (isSwitchedOff() || !isForUs(event)) return;
  const taken =
    event.key === "ArrowDown"
      ? step(1)
      : event.key === "ArrowUp"
        ? step(-1)
        : event.key.length === 1 && press(event.key.toLowerCase());
  if (taken) event.preventDefault();
});

attach("[data-keys-switch]", (box) => {
  const change = () => localStorage.setItem(OFF, box.checked ? "no" : "yes");
  box.checked = !isSwitchedOff();
  box.addEventListener("change", change);
  return () => box.removeEventListener("change", change);
});
