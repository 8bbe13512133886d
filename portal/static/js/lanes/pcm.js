// Sound as it comes from the house: parts of a lane as 16-bit pcm.

export async function fetchPcm(lane, start, frames) {
  const answer = await fetch(`${lane.sound}?start=${start}&frames=${frames}`);
  if (!answer.ok) return null;
  return { pcm: new Int16Array(await answer.arrayBuffer()), channels: Number(answer.headers.get("X-Channels")) || 1 };
}

/** 16-bit pcm, channels interleaved, to one Float32Array a channel. */
export function channelsOf(pcm, channels) {
  const frames = Math.floor(pcm.length / channels);
  return Array.from({ length: channels }, (_, channel) => {
    const samples = new Float32Array(frames);
    for (let frame = 0; frame < frames; frame++) samples[frame] = pcm[frame * channels + channel] / 32768;
    return samples;
  });
}
