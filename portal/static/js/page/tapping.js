// Tapping a tempo: a pad and the key T. What was tapped so far goes to the server after each short rest, which answers
// with what it makes of it.
//
//   <form data-tapping hx-post="…" …> <button type="button" data-tap>…</button> <output data-tap-count></output>
//     <input name="taps_s"> <input name="from_song">
//
// While the lanes on the page play, taps are moments of the song; else of the page's clock.
//
// A rest of three seconds begins again, so that a slip costs nothing.
import { attach } from "kitpost/lib/attach";
import { hasModifier } from "kitpost/lib/modifiers";
import { isSwitchedOff } from "kitpost/page/keys";

const REST_MS = 450;
const ANEW_S = 3;
const MOST_TAPS = 512;

/** The taps after one more at `timeS`: those before a long rest, or after a jump back, are gone. */
export function withTap(taps, timeS) {
  const last = taps.at(-1);
  const goesOn = last !== undefined && timeS > last && timeS - last <= ANEW_S;
  return goesOn ? [...taps, timeS].slice(-MOST_TAPS) : [timeS];
}

/** When an event happened, in seconds of the page's clock: not when the page came to it. */
export function momentOf(event) {
  return event.timeStamp / 1000;
}

attach("form[data-tapping]", (form) => {
  const pad = form.querySelector("[data-tap]");
  const count = form.querySelector("[data-tap-count]");
  let taps = [];
  let ofSong = false;
  let timer = 0;

  const songTimeOf = (event) => document.querySelector("[data-lanes]")?.songTimeAt?.(event.timeStamp) ?? null;
  const send = () => {
    form.elements.taps_s.value = JSON.stringify(taps.map((tap) => Number(tap.toFixed(4))));
    form.elements.from_song.value = ofSong ? "on" : "";
    form.requestSubmit();
  };
  const tap = (event) => {
    event.preventDefault();
    const songS = songTimeOf(event);
    const nowOfSong = songS !== null;
    taps = withTap(nowOfSong === ofSong ? taps : [], songS ?? momentOf(event));
    ofSong = nowOfSong;
    count.textContent = taps.length === 1 ? "1 tap" : `${taps.length} taps`;
    clearTimeout(timer);
    timer = setTimeout(send, REST_MS);
  };
  const onPad = (event) => {
    if (event.key !== " " && event.key !== "Enter") return;
    if (event.repeat) event.preventDefault();
    else tap(event);
  };
  const onKey = (event) => {
    if (isSwitchedOff() || event.defaultPrevented || event.repeat || hasModifier(event)) return;
    if (event.key.toLowerCase() === "t" && !event.target.closest?.("input, textarea, select, [contenteditable]"))
      tap(event);
  };

  pad.hidden = false;
  pad.addEventListener("pointerdown", tap);
  pad.addEventListener("keydown", onPad);
  document.addEventListener("keydown", onKey);
  return () => {
    clearTimeout(timer);
    document.removeEventListener("keydown", onKey);
  };
});
