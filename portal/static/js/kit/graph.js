// The graph at the kit: click, and each file, to one of several pairs of outputs; each pair under the ceiling.
//
//   file ─ its gain ─┐
//   file ─ its gain ─┴ music of a pair ─┐
//                      click's gain ────┴ sum of the pair ─ (mono) ─ ceiling ─ outputs 2n+1 and 2n+2
//
// One level for all pairs, and one for the music of all pairs, are constants that drive the gains of each.
import { ceilingAt, gainInto } from "kitpost/lanes/graph";

/** `pairs`: how many; `click` and `lanes[at]`: the pair of each. For a Transport, as `makeGraph`. */
export function kitGraph(context, { levels, clickLevel }, { count, click, lanes, mono, ceilingDb }) {
  const [total, music] = [constant(context, 0), constant(context, 1)];
  const outputs = outputsOf(context, count);
  const sums = outputs.nodes.map((output) => {
    const ceiling = ceilingAt(context, 10 ** (ceilingDb / 20));
    const sum = drivenBy(total, context);
    sum
      .connect(channels(context, mono ? 1 : 2))
      .connect(ceiling)
      .connect(channels(context, 2))
      .connect(output);
    return sum;
  });
  const musics = sums.map((sum) => {
    const gain = drivenBy(music, context);
    gain.connect(sum);
    return gain;
  });
  return {
    master: { gain: total.offset },
    music: { gain: music.offset },
    gains: levels.map((level, at) => gainInto(context, musics[lanes[at]], level)),
    clickOut: sums[click],
    clickGain: gainInto(context, sums[click], clickLevel),
    leave: () => outputs.leave(),
  };
}

function constant(context, value) {
  const source = context.createConstantSource();
  source.offset.value = value;
  source.start();
  return source;
}

function drivenBy(source, context) {
  const gain = channels(context, 2);
  gain.gain.value = 0;
  source.connect(gain.gain);
  return gain;
}

/** Passes on what comes as one channel or as two: one becomes two alike, two become their mean. */
function channels(context, count) {
  const node = context.createGain();
  node.channelCount = count;
  node.channelCountMode = "explicit";
  return node;
}

function outputsOf(context, count) {
  const { destination } = context;
  if (count === 1) {
    const node = channels(context, 2);
    node.connect(destination);
    return { nodes: [node], leave: () => node.disconnect() };
  }
  if (destination.channelCount !== 2 * count) destination.channelCount = 2 * count;
  destination.channelInterpretation = "discrete";
  const merger = context.createChannelMerger(2 * count);
  merger.connect(destination);
  const nodes = Array.from({ length: count }, (_, pair) => {
    const splitter = context.createChannelSplitter(2);
    splitter.connect(merger, 0, 2 * pair);
    splitter.connect(merger, 1, 2 * pair + 1);
    return splitter;
  });
  return { nodes, leave: () => merger.disconnect() };
}
