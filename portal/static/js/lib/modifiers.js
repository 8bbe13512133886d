// Keys that are held with others.

/** Whether Ctrl, Alt or the system key is held: such a key belongs to the browser. */
export function hasModifier(event) {
  return event.ctrlKey || event.altKey || event.metaKey;
}

// With Ctrl or the system key; both keys for redo are common.
const WORK = { z: "undo", "shift+z": "redo", y: "redo", s: "save" };

/** What a key that is held with others asks for on all pages alike: "undo", "redo", "save"; null for nothing. */
export function workKey({ ctrlKey, metaKey, altKey, shiftKey, key }) {
  const isHeld = (ctrlKey || metaKey) && !altKey;
  return (isHeld && WORK[`${shiftKey ? "shift+" : ""}${key.toLowerCase()}`]) || null;
}
