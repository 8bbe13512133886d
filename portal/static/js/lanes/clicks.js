// Lays the clicks of a transport onto its clock: those of a count-in, and those of each span of song.
import { countIn } from "kitpost/lanes/count-in";
import { gainInto, ramp } from "kitpost/lanes/graph";
import { RAMP_MS } from "kitpost/lib/level";

// The first click of a count-in comes at half its level, so that it does not jump out (house choice); the others are as
// loud as in the song.
const FIRST_CLICK = 0.5;

/** Bars of clicks, if asked for, heard even where the click is turned down. Answers when the song begins, from `atS`;
 *  the music comes up by itself then. */
export function layCountIn(transport, atS) {
  const { context, music, song, startS, countsIn, factor } = transport;
  const count = countsIn ? countIn(song.beats_s, startS, Number(countsIn)) : null;
  music.gain.cancelScheduledValues(0);
  music.gain.value = 1;
  transport.count = null;
  if (!count) return atS;
  const rateHz = context.sampleRate;
  const framesOf = (timeS) => Math.round(timeS * rateHz);
  const songAt = framesOf(atS + RAMP_MS / 1000) + framesOf(count.lengthS * factor);
  const beats = count.clicks.map(({ beforeS, accent }) => ({ atS: songAt / rateHz - beforeS * factor, accent }));
  transport.count = { beats, songAtS: songAt / rateHz };
  for (const [at, { beforeS, accent }] of count.clicks.entries()) {
    const into = gainInto(context, transport.clickOut, (at ? 1 : FIRST_CLICK) * (transport.clickLevel || 1));
    transport.start(transport.clicks?.[accent ? 0 : 1], into, (songAt - framesOf(beforeS * factor)) / rateHz);
  }
  ramp(music.gain, 1, songAt / rateHz);
  return songAt / rateHz;
}

/** Each at the frame of the song that lies nearest to its exact time, as in the files. */
export function layClicks(transport, { songS, lengthS, atS, factor }, fromS = 0) {
  const rateHz = transport.context.sampleRate;
  const [first, end] = [Math.round(songS * rateHz), Math.round((songS + lengthS) * rateHz)];
  for (const [beatS, accent, isBetween] of transport.clickTimes ?? transport.song.beats_s) {
    const frame = Math.round(beatS * rateHz);
    if (frame < first) continue;
    if (frame >= end) break;
    const startS = (Math.round(atS * rateHz) + Math.round((frame - first) * factor)) / rateHz;
    if (startS < fromS) continue;
    const source = transport.start(soundOf(transport.clicks, accent, isBetween), transport.clickGain, startS);
    if (source) transport.clickSources.set(source, startS);
  }
}

function soundOf(clicks, accent, isBetween) {
  if (accent) return clicks?.[0];
  return clicks?.[isBetween ? 2 : 1];
}
