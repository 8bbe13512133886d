// Hands on the picture of a map: a handle pulled up or down, a place pressed, keys, the wheel.
import { moved } from "kitpost/map-edits";
import { HANDLE_PX } from "kitpost/map-picture";
import { zoomAt } from "kitpost/views";

const LEAST_VIEW_S = 0.5;

export function handsOn(editor) {
  const { canvas } = editor;
  canvas.addEventListener("pointerdown", (event) => grab(editor, event));
  canvas.addEventListener("keydown", (event) => key(editor, event));
  canvas.addEventListener("wheel", (event) => wheel(editor, event), { passive: false });
}

function grab(editor, event) {
  const { canvas, picture } = editor;
  const x = event.clientX - canvas.getBoundingClientRect().left;
  const gaps = editor.state.anchors.map((anchor) => Math.abs(picture.x(anchor.time_s) - x));
  const nearest = gaps.indexOf(Math.min(...gaps));
  canvas.focus({ preventScroll: true });
  if (gaps[nearest] > 2 * HANDLE_PX) return editor.live.seek(picture.timeAt(x));
  editor.choose(nearest);
  const from = { y: event.clientY, state: editor.state, msPerPx: picture.msPerPx, all: editor.field("all").checked };
  let last = null;
  const drag = (moveEvent) => {
    last = moved(from.state, nearest, ((moveEvent.clientY - from.y) * from.msPerPx) / 1000, from.all);
    editor.lookAt(last);
  };
  const drop = () => {
    canvas.removeEventListener("pointermove", drag);
    editor.history.now = from.state;
    if (last) editor.take(last);
  };
  canvas.setPointerCapture(event.pointerId);
  canvas.addEventListener("pointermove", drag);
  canvas.addEventListener("pointerup", drop, { once: true });
  canvas.addEventListener("pointercancel", drop, { once: true });
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
  if (event.key in steps) doings[event.key] = () => editor.take(moved(editor.state, editor.chosen, steps[event.key] * (event.shiftKey ? 10 : 1), editor.field("all").checked));
  if (!doings[event.key]) return;
  event.preventDefault();
  doings[event.key]();
}

/** With Ctrl or Alt closer and wider, as on the score; else the page scrolls. */
function wheel(editor, event) {
  const { score } = editor.live;
  if (!score || !(event.ctrlKey || event.altKey)) return;
  event.preventDefault();
  const x = event.clientX - editor.canvas.getBoundingClientRect().left;
  score.setView(zoomAt(score.view, editor.picture.timeAt(x), 1.0015 ** event.deltaY, editor.seen.duration_s, LEAST_VIEW_S));
}
