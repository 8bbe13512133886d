// Keys that are held with others.

/** Whether Ctrl, Alt or the system key is held: such a key belongs to the browser. */
export function hasModifier(event) {
  return event.ctrlKey || event.altKey || event.metaKey;
}
