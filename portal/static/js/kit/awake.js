// Keeps the screen awake while the page is in view, where the browser can (W3C Screen Wake Lock API).
const CANNOT = "This browser cannot keep the screen awake: set a long time until sleep on the device.";

/** `say` is called with a sentence where it cannot. Answers what ends it. */
export function keepAwake(say) {
  let lock = null;
  const ask = async () => {
    if (document.visibilityState !== "visible") return;
    try {
      lock = await navigator.wakeLock.request("screen");
      say("");
    } catch {
      say(CANNOT);
    }
  };
  document.addEventListener("visibilitychange", ask);
  ask();
  return () => {
    document.removeEventListener("visibilitychange", ask);
    lock?.release();
  };
}
