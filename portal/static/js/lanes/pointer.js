// Moving the view of the lanes by wheel, drag and two fingers. A press that does not move puts the head there.
import { pan, zoomAt } from "kitpost/lib/viewport";

export const LEAST_VIEW_S = 0.002;
const STILL_PX = 4;
const LEAST_GAP_PX = 20;

export function listenToPointer(lanes) {
  const { canvas } = lanes;
  const pointers = new Map();
  const gapPx = () => {
    const places = [...pointers.values()];
    return places.length > 1 ? Math.abs(places[0] - places[1]) : 0;
  };
  const durationS = () => lanes.song.duration_s;

  canvas.addEventListener("wheel", (event) => wheel(lanes, event), { passive: false });
  canvas.addEventListener("pointerdown", (event) => {
    pointers.set(event.pointerId, event.clientX);
    const from = { view: lanes.view, x: event.clientX, gap: gapPx() };
    let isMoved = false;
    canvas.setPointerCapture(event.pointerId);
    const move = (moveEvent) => {
      pointers.set(moveEvent.pointerId, moveEvent.clientX);
      isMoved ||= Math.abs(moveEvent.clientX - from.x) > STILL_PX;
      if (!isMoved) return;
      const lengthS = from.view.endS - from.view.startS;
      if (pointers.size > 1 && from.gap) {
        const factor = from.gap / Math.max(LEAST_GAP_PX, gapPx());
        return lanes.setView(
          zoomAt(from.view, (from.view.startS + from.view.endS) / 2, factor, durationS(), LEAST_VIEW_S),
        );
      }
      lanes.setView(pan(from.view, ((from.x - moveEvent.clientX) / canvas.clientWidth) * lengthS, durationS()));
    };
    const drop = (upEvent) => {
      pointers.delete(upEvent.pointerId);
      canvas.removeEventListener("pointermove", move);
      canvas.removeEventListener("pointerup", drop);
      canvas.removeEventListener("pointercancel", drop);
      if (!isMoved && upEvent.type === "pointerup") lanes.seek(lanes.timeAt(upEvent));
    };
    canvas.addEventListener("pointermove", move);
    canvas.addEventListener("pointerup", drop);
    canvas.addEventListener("pointercancel", drop);
  });
}

/** Sideways, or with Shift: along the song. With Ctrl or Alt: closer and wider. Else the page scrolls. */
function wheel(lanes, event) {
  const isSideways = event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY);
  if (!event.ctrlKey && !event.altKey && !isSideways) return;
  event.preventDefault();
  const { view } = lanes;
  const durationS = lanes.song.duration_s;
  if (event.ctrlKey || event.altKey)
    return lanes.setView(zoomAt(view, lanes.timeAt(event), 1.0015 ** event.deltaY, durationS, LEAST_VIEW_S));
  lanes.setView(
    pan(view, ((event.deltaX || event.deltaY) / lanes.canvas.clientWidth) * (view.endS - view.startS), durationS),
  );
}

// A finding's place, pressed: the lanes go there.
document.addEventListener("click", (event) => {
  const link = event.target.closest?.("[data-go-s]");
  if (!link) return;
  document.dispatchEvent(new CustomEvent("lanes:go", { detail: { timeS: Number(link.dataset.goS) } }));
});
