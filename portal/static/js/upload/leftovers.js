// Files that nobody means to send: what operating systems leave in folders, and what programs leave beside a file. They
// are left out, and that is said. `portal/intake/files/leftovers.py` has the same rules for zips and for the plain
// form; a test holds the two together.

const FOLDERS = new Set(["__macosx", ".spotlight-v100", ".trashes", ".fseventsd", ".temporaryitems", "$recycle.bin"]);
const NAMES = new Set(["thumbs.db", "ehthumbs.db", "desktop.ini", "icon\r"]);
// What a song is sent with: sound, MIDI, archives, texts, pictures. "bass.wav.mid" beside "bass.wav" is meant.
const KINDS_MEANT = new Set(
  (
    "aac aif aifc aiff caf flac m4a mp3 mp4 oga ogg opus w64 wav wave mid midi zip " +
    "csv doc docx md odt pdf rtf txt xml gif jpeg jpg png svg webp"
  ).split(" "),
);
// A drawn waveform of ten minutes in stereo fits: lowest and highest as 16 bits for each 256 frames at 48 kHz are
// 900 KiB. A take does not: 1 MiB is less than four seconds of 24-bit stereo.
const MOST_BESIDE_BYTES = 1024 * 1024;

/** Of files sent together, {path, size} each (`/` between the parts of a path): which are left out. */
export function leftoversAmong(files) {
  const paths = new Set(files.map(({ path }) => folded(path)));
  return files.map(({ path, size }) => isOfASystem(path) || isBeside(path, size, paths));
}

function isOfASystem(path) {
  const folders = path.toLowerCase().split("/");
  const name = folders.pop();
  return folders.some((folder) => FOLDERS.has(folder)) || name.startsWith(".") || NAMES.has(name);
}

/** Its name is another's whole name and one more ending, of no kind that is meant. */
function isBeside(path, size, paths) {
  const whole = folded(path);
  const dot = whole.lastIndexOf(".");
  return (
    size <= MOST_BESIDE_BYTES && !KINDS_MEANT.has(whole.slice(dot + 1)) && paths.has(whole.slice(0, Math.max(0, dot)))
  );
}

function folded(path) {
  return path.normalize("NFC").toLowerCase();
}
