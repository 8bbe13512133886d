// Which outputs of which sound device are played through: kept on this device, for all songs.
//
// A pair is two outputs of the device: pair 0 is outputs 1 and 2.
const KEPT = "kitpost-kit-outputs";
const NO_CHOICE = "This browser cannot choose a sound device: the one of the system is used.";
const NO_DEVICES =
  "The sound devices may not be listed: allow this page the microphone, which browsers ask for before they " +
  "name devices. Nothing is recorded.";

export class Outputs {
  constructor() {
    this.chosen = { device: "", click: 0, music: 0, lanes: {}, ...stored() };
    this.count = 1;
  }

  keep() {
    try {
      localStorage.setItem(KEPT, JSON.stringify(this.chosen));
    } catch {
      // Storage is off: the choice holds until the page is closed.
    }
  }

  /** The pair of the click and of each lane, as far as the device has it. */
  pairs(lanes) {
    const within = (pair) => (pair < this.count ? pair : 0);
    const { click, music, lanes: own } = this.chosen;
    return { click: within(click), lanes: lanes.map((lane) => within(own[lane.id] ?? music)) };
  }

  /** Play through the device that was chosen; answers a sentence where that cannot be. */
  async use(context) {
    const trouble = (context.sinkId ?? "") === this.chosen.device ? "" : await this.choose(context);
    this.count = countOf(context);
    return trouble;
  }

  async choose(context) {
    if (!context.setSinkId) return NO_CHOICE;
    return context.setSinkId(this.chosen.device).then(
      () => "",
      () => "The chosen sound device is not there: the one of the system is used.",
    );
  }

  /** [{id, name}], or a sentence why there is no list. */
  async devices() {
    if (!window.AudioContext?.prototype.setSinkId) return NO_CHOICE;
    try {
      const stream = await navigator.mediaDevices.getUserMedia({ audio: true });
      for (const track of stream.getTracks()) track.stop();
      const found = await navigator.mediaDevices.enumerateDevices();
      return found
        .filter((one) => one.kind === "audiooutput" && one.deviceId !== "default")
        .map((one) => ({ id: one.deviceId, name: one.label || "a sound device" }));
    } catch {
      return NO_DEVICES;
    }
  }
}

/** How many pairs of outputs the device has. */
export function countOf({ destination }) {
  return Math.max(1, Math.floor(destination.maxChannelCount / 2));
}

function stored() {
  try {
    return JSON.parse(localStorage.getItem(KEPT) ?? "{}");
  } catch {
    return {};
  }
}
