// The sounds of a click, as the house's engine makes them: those of the prepared click.

export function clickAddress(song, rateHz) {
  return `${song.click_sounds}&rate=${rateHz}`;
}

/** Of a bar line, of a beat, and of what lies between beats, one after the other and alike in length. */
export async function fetchClicks(address) {
  const answer = await fetch(address);
  if (!answer.ok) throw new Error(`${answer.status}`);
  return new Float32Array(await answer.arrayBuffer());
}

/** One buffer for each of the three. */
export function clickBuffers(context, samples) {
  const frames = Math.floor(samples.length / 3);
  return Array.from({ length: 3 }, (_, at) => {
    const sound = context.createBuffer(1, frames, context.sampleRate);
    sound.copyToChannel(samples.subarray(at * frames, (at + 1) * frames), 0);
    return sound;
  });
}
