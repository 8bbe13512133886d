// On every page: what this device keeps of the pages at the kit belongs to one reader, and goes with them. Signing out
// first sends what is still to be sent, then removes everything; nobody else ever sees it.
import { attach } from "kitpost/lib/attach";
import { dropAllOf, dropCachesOfOthers } from "kitpost/lib/kept";
import { postTakes, waitingTakes } from "kitpost/lib/take-queue";

const reader = Number(document.body.dataset.reader ?? NaN);
if (Number.isFinite(reader)) dropCachesOfOthers(reader).catch(() => {});

/** How many takes could not be sent. */
async function sendWaiting(token) {
  const waiting = await waitingTakes(reader);
  let unsent = 0;
  for (const song of new Set(waiting.map((take) => take.song))) {
    const takes = waiting.filter((take) => take.song === song);
    const answer = await postTakes(song, takes, token);
    if (!answer?.takes) unsent += takes.length;
  }
  return unsent;
}

attach('form[action$="/sign-out/"]', (form) => {
  const leave = async (event) => {
    if (!reader || form.dataset.cleared) return;
    event.preventDefault();
    const unsent = await sendWaiting(form.elements.csrfmiddlewaretoken.value).catch(() => 0);
    const question = `${unsent} logged takes could not be sent. Sign out and lose them?`;
    if (unsent && !window.confirm(question)) return;
    await dropAllOf(reader).catch(() => {});
    form.dataset.cleared = "yes";
    form.requestSubmit();
  };
  form.addEventListener("submit", leave);
  return () => form.removeEventListener("submit", leave);
});
