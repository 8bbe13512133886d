// Files that systems and programs leave beside others: left out, with a note. `portal/intake/files/leftovers.py` has
// the same rules for zips; a test compares the two.

const FOLDERS = new Set(["__macosx", ".spotlight-v100", ".trashes", ".fseventsd", ".temporaryitems", "$recycle.bin"]);
const NAMES = new Set(["thumbs.db", "ehthumbs.db", "desktop.ini", "icon\r"]);
// The drawn picture of a sound, which editors keep beside it to open it faster.
const PEAK_ENDINGS = ["peak", "peaks", ".pk", ".pkf", ".gpk", ".sfk", ".ovw", ".wfm", ".asd"];

/** Whether this path (with `/` between its parts) is a file that nobody means to send. */
export function isJunk(path) {
  const folders = path.toLowerCase().split("/");
  const name = folders.pop();
  if (folders.some((folder) => FOLDERS.has(folder))) return true;
  return (
    name.startsWith(".") ||
    NAMES.has(name) ||
    (name.includes(".") && PEAK_ENDINGS.some((ending) => name.endsWith(ending)))
  );
}
