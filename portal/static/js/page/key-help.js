// "?" shows the keys of the page one is on: every visible control that names its key, and what the page adds in words
// ([data-more-keys]). Press it again, or Escape, to close.
import { isForUs, isSwitchedOff } from "kitpost/page/keys";

/** [key, what it does] of every control that can be pressed now; each key once. */
export function keysOf(root) {
  const found = new Map();
  for (const one of root.querySelectorAll("[aria-keyshortcuts]")) {
    const key = one.getAttribute("aria-keyshortcuts");
    const words = (one.getAttribute("aria-label") ?? wordsOf(one)).trim();
    if (one.offsetParent && words && !found.has(key)) found.set(key, words);
  }
  return [...found];
}

function wordsOf(element) {
  if (element.matches("input")) return element.labels?.[0]?.textContent ?? element.placeholder;
  const copy = element.cloneNode(true);
  for (const kbd of copy.querySelectorAll("kbd")) kbd.remove();
  return copy.textContent.replace(/\s+/g, " ");
}

function make(tag, ...children) {
  const element = document.createElement(tag);
  element.append(...children);
  return element;
}

function show() {
  const list = make("ul", ...keysOf(document).map(([key, words]) => make("li", make("kbd", key), ` ${words}`)));
  list.append(make("li", make("kbd", "?"), " These keys"));
  const more = [...document.querySelectorAll("[data-more-keys] li")].map((item) => item.cloneNode(true));
  const close = make("button", "Close");
  const dialog = make("dialog", make("h2", "Keys on this page"), list, make("ul", ...more), make("form", close));
  dialog.className = "key-help";
  dialog.querySelector("form").method = "dialog";
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}

document.addEventListener("keydown", (event) => {
  if (event.key !== "?" || isSwitchedOff() || !isForUs(event)) return;
  event.preventDefault();
  const open = document.querySelector("dialog.key-help");
  if (open) open.close();
  else show();
});
