// Hands on the picture of a map: a handle pulled up or down, a place pressed, keys, the wheel.
//
// A mouse takes the line of an anchor at any height. A finger takes its handle alone: beside handles it scrolls the
// page, and a tap puts the head there.
import { moved } from "kitpost/map/edits";
import { HANDLE_PX } from "kitpost/map/picture";
import { pan, zoomAt } from "kitpost/lib/viewport";

const LEAST_VIEW_S = 0.5;
const MOUSE_REACH_PX = 2 * HANDLE_PX;
const FINGER_REACH_PX = 24;
// A press that goes no farther is none that pulls: a finger never rests.
const STILL_PX = 3;
const TAP_PX = 10;

export function listenToPointer(editor) {
  const { canvas } = editor;
  canvas.addEventListener("pointerdown", (event) => press(editor, event));
  // The browser asks after `pointerdown` whether it may scroll: not under a finger that has a handle.
  canvas.addEventListener("touchstart", (event) => editor.isPulled && event.preventDefault(), { passive: false });
  canvas.addEventListener("keydown", (event) => key(editor, event));
  canvas.addEventListener("wheel", (event) => wheel(editor, event), { passive: false });
}

function press(editor, event) {
  if (!event.isPrimary || event.button) return;
  const { canvas, picture } = editor;
  const box = canvas.getBoundingClientRect();
  const [x, y] = [event.clientX - box.left, event.clientY - box.top];
  canvas.focus({ preventScroll: true });
  const at = handleAt(editor, x, y, event.pointerType !== "mouse");
  if (at >= 0) pull(editor, event, at);
  else if (event.pointerType === "mouse") editor.live.seek(picture.timeAt(x));
  else swipe(editor, event, picture.timeAt(x));
}

/** A finger beside the handles: a tap puts the head there, a swipe to the side moves the view. */
function swipe(editor, event, timeS) {
  const { lanes } = editor.live;
  const from = lanes?.view;
  const onMove = (moveEvent) => {
    if (!from || farPx(event, moveEvent) <= TAP_PX) return;
    const byS = ((event.clientX - moveEvent.clientX) / editor.canvas.clientWidth) * (from.endS - from.startS);
    lanes.setView(pan(from, byS, editor.seen.duration_s));
  };
  whileDown(editor.canvas, event, {
    onMove,
    onUp: (upEvent) => farPx(event, upEvent) <= TAP_PX && editor.live.seek(timeS),
  });
}

/** Index of the anchor whose handle is there; -1 for none. */
function handleAt({ picture, state }, x, y, isFinger) {
  if (isFinger && Math.abs(picture.y(0) - y) > FINGER_REACH_PX) return -1;
  const gaps = state.anchors.map((anchor) => Math.abs(picture.x(anchor.time_s) - x));
  const least = Math.min(...gaps);
  return least <= (isFinger ? FINGER_REACH_PX : MOUSE_REACH_PX) ? gaps.indexOf(least) : -1;
}

/** The handle follows until it is let go, which is one step; where the browser takes the pointer away, nothing was
 *  pulled. */
function pull(editor, event, at) {
  editor.choose(at);
  const from = { state: editor.state, msPerPx: editor.picture.msPerPx, all: editor.field("all").checked };
  let [shown, isMoved] = [from.state, false];
  // A run of taps may end while a handle is held: then its map holds, and nothing is pulled any more.
  const holds = () => isMoved && editor.state === shown;
  const onMove = (moveEvent) => {
    isMoved ||= farPx(event, moveEvent) >= STILL_PX;
    if (!holds()) return;
    shown = moved(from.state, at, ((moveEvent.clientY - event.clientY) * from.msPerPx) / 1000, from.all);
    editor.lookAt(shown);
  };
  const onUp = () => {
    if (!holds()) return;
    editor.history.now = from.state;
    if (shown.anchors[at].time_s === from.state.anchors[at].time_s) editor.lookAt(from.state);
    else editor.take(shown);
  };
  editor.isPulled = true;
  editor.canvas.setPointerCapture(event.pointerId);
  whileDown(editor.canvas, event, {
    onMove,
    onUp,
    onCancel: () => holds() && editor.lookAt(from.state),
    onEnd: () => (editor.isPulled = false),
  });
}

/** Tell what this pointer does until it goes up or is taken away; then nothing of it is left. */
function whileDown(canvas, { pointerId }, { onMove, onUp, onCancel, onEnd }) {
  const over = new AbortController();
  const on = (kind, doing) =>
    canvas.addEventListener(kind, (event) => event.pointerId === pointerId && doing?.(event), { signal: over.signal });
  const end = (doing) => (event) => {
    over.abort();
    onEnd?.();
    doing?.(event);
  };
  on("pointermove", onMove);
  on("pointerup", end(onUp));
  on("pointercancel", end(onCancel));
}

function farPx(one, other) {
  return Math.hypot(other.clientX - one.clientX, other.clientY - one.clientY);
}

function key(editor, event) {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const steps = { ArrowUp: -0.001, ArrowDown: 0.001 };
  const doings = {
    ArrowLeft: () => editor.choose(Math.max(editor.chosen - 1, 0)),
    ArrowRight: () => editor.choose(Math.min(editor.chosen + 1, editor.state.anchors.length - 1)),
    "+": () => editor.live.zoom("closer"),
    "=": () => editor.live.zoom("closer"),
    "-": () => editor.live.zoom("wider"),
    Home: () => editor.live.zoom("whole"),
    " ": () => editor.live.zoom("play"),
  };
  if (event.key in steps)
    doings[event.key] = () =>
      editor.take(
        moved(editor.state, editor.chosen, steps[event.key] * (event.shiftKey ? 10 : 1), editor.field("all").checked),
      );
  if (!doings[event.key]) return;
  event.preventDefault();
  doings[event.key]();
}

/** With Ctrl or Alt closer and wider, as on the lanes; else the page scrolls. */
function wheel(editor, event) {
  const { lanes } = editor.live;
  if (!lanes || !(event.ctrlKey || event.altKey)) return;
  event.preventDefault();
  const x = event.clientX - editor.canvas.getBoundingClientRect().left;
  lanes.setView(
    zoomAt(lanes.view, editor.picture.timeAt(x), 1.0015 ** event.deltaY, editor.seen.duration_s, LEAST_VIEW_S),
  );
}
