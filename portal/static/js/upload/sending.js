// The sums and words of sending files: nothing here touches the page.

const UNITS = ["bytes", "kB", "MB", "GB", "TB"];
const STEP = 1000;

/** 1234567 → "1.2 MB", counted as the pages that the server writes count it. */
export function size(bytes) {
  let unit = 0;
  let value = bytes;
  while (value >= STEP && unit < UNITS.length - 1) {
    value /= STEP;
    unit += 1;
  }
  return `${unit ? value.toFixed(1) : value} ${UNITS[unit]}`;
}

/** Seconds as people say how long something takes. */
export function duration(seconds) {
  if (!Number.isFinite(seconds)) return "";
  if (seconds < 60) return `${Math.max(1, Math.round(seconds))} s`;
  const minutes = Math.round(seconds / 60);
  return minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
}

/** How fast it goes, over the last seconds only: a pause must not haunt the rest. Moments are {atS, bytes}. */
export function rate(moments) {
  if (moments.length < 2) return 0;
  const first = moments[0];
  const last = moments[moments.length - 1];
  return last.atS > first.atS ? (last.bytes - first.bytes) / (last.atS - first.atS) : 0;
}

/** Keep the moments of the last `windowS` seconds, and at least two. */
export function recent(moments, windowS) {
  const last = moments[moments.length - 1];
  const kept = moments.filter((moment) => last.atS - moment.atS <= windowS);
  return kept.length >= 2 ? kept : moments.slice(-2);
}

export function progressWords(sent, total, bytesPerS) {
  const words = [`${size(sent)} of ${size(total)}`];
  if (bytesPerS > 0 && sent < total) words.push(`${size(bytesPerS)}/s`, `${duration((total - sent) / bytesPerS)} left`);
  return words.join(", ");
}

/** The same file for the same place goes on where it was, also a day later; elsewhere it is another upload. */
export function fingerprint(file, purpose, target, folder = "") {
  return ["kitpost", purpose, target, folder, file.name, file.size, file.lastModified].join("|");
}

/** Refused for good: asking again would bring the same answer. 409 and 423 pass when the other connection is gone. */
export function isRefusal(status) {
  return status >= 400 && status < 500 && status !== 409 && status !== 423;
}
