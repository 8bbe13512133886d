// Taps on the one while a sound plays: each is the sound's time, written down in seconds of the song.
//
//   <form data-tap-one="ID OF THE AUDIO" data-tap-from="SONG SECONDS AT ITS START">
//     <input type="hidden" name="taps_s"> <button type="button" data-tap hidden>…</button> <p data-tap-count></p>
import { attach } from "kitpost/lib/attach";

const MOST_TAPS = 64;

attach("[data-tap-one]", (form) => {
  const audio = document.getElementById(form.dataset.tapOne);
  const button = form.querySelector("[data-tap]");
  const field = form.elements.taps_s;
  const said = form.querySelector("[data-tap-count]");
  const taps = [];

  const tap = (event) => {
    event.preventDefault();
    if (!audio || audio.paused) {
      said.textContent = "Start playback first, then tap along.";
      return;
    }
    if (taps.length < MOST_TAPS) taps.push(Number(form.dataset.tapFrom) + audio.currentTime);
    field.value = JSON.stringify(taps);
    said.textContent = taps.length === 1 ? "1 tap" : `${taps.length} taps`;
  };
  const key = (event) => {
    if (event.key !== " " && event.key !== "Enter") return;
    if (event.repeat) event.preventDefault();
    else tap(event);
  };

  button.hidden = false;
  const hint = form.querySelector("[data-tap-hint]");
  if (hint) hint.hidden = false;
  // When the finger lands, not when it leaves.
  button.addEventListener("pointerdown", tap);
  button.addEventListener("keydown", key);
  return () => {
    button.removeEventListener("pointerdown", tap);
    button.removeEventListener("keydown", key);
  };
});
