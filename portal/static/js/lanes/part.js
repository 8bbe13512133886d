// Sound of one lane, ready to be played.
import { channelsOf } from "kitpost/lanes/pcm";
import { MARGIN_S } from "kitpost/lanes/time-stretch";

/** A stretch of a lane as {sound, offsetS}: a buffer, and how long after the stretch's begin it starts. Null where the
 *  lane has no sound there. `stretched` makes it slower by `factor`. */
export async function partOf(lane, stretch, { context, fetchPart, factor, stretched }) {
  const rateHz = lane.sample_rate_hz;
  const { first, frames } = framesIn(lane, stretch);
  if (!lane.sound || frames <= 0) return null;
  const around = stretched ? Math.round(MARGIN_S * rateHz) : 0;
  const start = Math.max(0, first - around);
  const got = await fetchPart(lane, start, Math.min(lane.frames, first + frames + around) - start);
  if (!got) return null;
  const whole = channelsOf(got.pcm, got.channels);
  const channels = stretched ? stretched.stretch({ channels: whole, first: start, from: first, frames }) : whole;
  const sound = context.createBuffer(channels.length, channels[0].length, rateHz);
  for (const [channel, samples] of channels.entries()) sound.copyToChannel(samples, channel);
  return { sound, offsetS: (first / rateHz - stretch.songS) * factor };
}

function framesIn({ sample_rate_hz: rateHz, frames }, { songS, lengthS }) {
  const first = Math.round(songS * rateHz);
  return { first, frames: Math.min(Math.round((songS + lengthS) * rateHz), frames) - first };
}
