// Takes on their way from this device to the house: kept until they are sent, sent in the order they were logged, and
// known by a key made here, so that one that is sent twice is one take.
import { inStore } from "kitpost/lib/kept";

export const SIGNED_OUT = "You are signed out. Sign in again to send what waits here: it stays on this device.";

export function keepTake(take) {
  return inStore("takes", "readwrite", (store) => store.put(take, take.id));
}

export function forgetTake(id) {
  return inStore("takes", "readwrite", (store) => store.delete(id));
}

/** What `reader` logged and the house has not confirmed, in order. */
export async function waitingTakes(reader) {
  const rows = (await inStore("takes", "readonly", (store) => store.getAll())) ?? [];
  return rows.filter((take) => take.reader === reader).sort(inOrder);
}

export function inOrder(one, other) {
  return Date.parse(one.logged_at) - Date.parse(other.logged_at) || one.number - other.number;
}

/** Send the takes of one song. Answers {takes} as the house has them, or {sentence} with why it did not take them;
 *  null where it cannot be reached. */
export async function postTakes(songId, takes, token) {
  const answer = await fetch(`/kit/${songId}/takes/`, {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-CSRFToken": token },
    body: JSON.stringify({ takes }),
    redirect: "manual",
  }).catch(() => null);
  if (answer?.type === "opaqueredirect") return { sentence: SIGNED_OUT };
  if (!answer || answer.status >= 500) return null;
  if (answer.ok) return answer.json();
  const told = await answer.json().catch(() => ({}));
  return { sentence: told.sentence ?? `The house answered with ${answer.status}.` };
}
