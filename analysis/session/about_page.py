"""The page in a session pack that says what was done to which file."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from analysis.session.conform import ConformedFile
from analysis.session.cue_sheet import clock_words, tempo_words
from analysis.session.timeline import Timeline

_STYLE = """body { font: 16px/1.5 system-ui, sans-serif; max-width: 70rem; margin: 2rem auto; padding: 0 1rem; }
table { border-collapse: collapse; width: 100%; } caption { text-align: left; font-weight: bold; padding: .5rem 0; }
th, td { text-align: left; vertical-align: top; padding: .4rem .8rem .4rem 0; border-bottom: 1px solid #767676; }
td { overflow-wrap: anywhere; } code { font-size: .85em; }"""
_DITHER = "dither (triangular, two steps wide) because bits are lost"
# Codecs whose name is a word and no abbreviation.
_CODECS = {"vorbis": "Vorbis", "opus": "Opus"}
_TRIED = (
    "The session file is OpenTimelineIO, an open standard. It was written by the opentimelineio library and can be "
    "read back with it. Kitpost does not know which recording program opens it: if yours does not, put every "
    "file of the audio folder at the start of an empty session, each on its own track."
)


def about_page(
    title: str,
    timeline: Timeline,
    files: Sequence[ConformedFile],
    left_out: Sequence[tuple[str, str]],
    click_name: str,
    word_on_sections: str = "",
) -> str:
    """HTML that needs nothing beside it. `left_out`: names and why; `word_on_sections`: what is to be known of them."""
    rows = "\n".join(_row(file) for file in files)
    missing = "\n".join(f"<li>“{escape(name)}”: {escape(why)}</li>" for name, why in left_out)
    lines = [*session_lines(timeline, click_name), *([word_on_sections] if word_on_sections else [])]
    facts = "\n".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"""<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>{escape(title)}: session pack</title>
<style>
{_STYLE}
</style>
<h1>{escape(title)}: session pack</h1>
<ul>
{facts}
</ul>
<p>{_TRIED}</p>
<table>
<caption>What was done to which file</caption>
<thead>
<tr><th scope="col">File here<th scope="col">As it came<th scope="col">What was done<th scope="col">SHA-256 here
</thead>
<tbody>
{rows}
</tbody>
</table>
{f"<h2>Not in the pack</h2><ul>{missing}</ul>" if left_out else ""}
</html>
"""


def _row(file: ConformedFile) -> str:
    done = "; ".join(changes_of(file))
    return (
        f'<tr><th scope="row">{escape(file.out)}<td>{escape(file.name)}<br>{escape(format_words(file))}'
        f"<td>{escape(done)}<td><code>{file.sha256}</code>"
    )


def session_lines(timeline: Timeline, click_name: str) -> list[str]:
    settings, plan = timeline.settings, timeline.click_plan()
    first, has_changes = timeline.tempo_map.first_in_time, len(timeline.tempo_map.segments) > 1
    format_ = f"{rate_words(settings.sample_rate_hz)}, {depth_words(settings.bit_depth)}"
    bar_one = clock_words(timeline.session_map.time_of_bar(timeline.start_bar))
    tempo = f"{tempo_words(first)} beats per minute in {first.meter}"
    peak = f"peak at most {settings.click.peak_dbfs:g} dBFS"
    lines = [
        f"{format_}; every file is {timeline.frames} frames long and starts at the session’s bar 1.",
        f"Bar one is the session’s bar {timeline.start_bar}: frame {timeline.bar_one_frame}, at {bar_one}.",
        f"{tempo}, with changes: see the cue sheet." if has_changes else f"{tempo}.",
        f"Time reference of every file: {timeline.time_reference_frames} samples since midnight.",
        f"{click_name} is the click: {plan.count_in_bars} bars of count-in, {peak}. Turn down first.",
        "The MIDI file rounds each tempo to whole microseconds per quarter note, as its standard demands.",
    ]
    if timeline.start_bar > settings.start_bar:
        wish = f"The house’s start bar is {settings.start_bar}."
        lines.append(f"{wish} This song starts later, to make room for what comes before bar one.")
    return lines


def changes_of(file: ConformedFile) -> list[str]:
    """In the order in which it was done."""
    changes = [_moved(file.shift_frames)]
    if file.resampled:
        changes.append(
            f"converted from {rate_words(file.source_rate_hz)} to {rate_words(file.sample_rate_hz)}, once (soxr VHQ)"
        )
    if file.dithered:
        changes.append(f"brought to {depth_words(file.bit_depth)} with {_DITHER}")
    elif file.resampled or _is_rounded_to_float(file):
        changes.append(f"rounded to {depth_words(file.bit_depth)} without dither")
    else:
        changes.append("samples unchanged")
    if file.held_samples:
        changes.append(f"{file.held_samples} samples over full scale were held at it")
    if file.replaced_samples:
        changes.append(f"{file.replaced_samples} samples were no numbers and became silence")
    if file.channels > 2:
        changes.append(f"{file.channels} channels kept in their order")
    return changes


def _is_rounded_to_float(file: ConformedFile) -> bool:
    return file.bit_depth == 32 and file.source_bits == 32 and not file.source_is_float


def _moved(shift_frames: int) -> str:
    if shift_frames < 0:
        return f"starts {-shift_frames} frames later in its sound: only silence was left out"
    return f"moved {shift_frames} frames later, with silence before" if shift_frames else "not moved"


def format_words(file: ConformedFile) -> str:
    channels = {1: "mono", 2: "stereo"}.get(file.channels, f"{file.channels} channels")
    depth = depth_words(file.source_bits, is_float=file.source_is_float) if file.source_bits else "lossy"
    return f"{codec_words(file.source_codec)}, {rate_words(file.source_rate_hz)}, {depth}, {channels}"


def codec_words(codec: str) -> str:
    """As people call it: "PCM" for all that is not coded at all; others by their names in capitals ("MP3")."""
    return "PCM" if codec.startswith("pcm_") else _CODECS.get(codec, codec.upper())


def rate_words(sample_rate_hz: int) -> str:
    return f"{sample_rate_hz / 1000:g} kHz"


def depth_words(bits: int, *, is_float: bool | None = None) -> str:
    """A session of 32 bits is floating point."""
    is_float = bits == 32 if is_float is None else is_float
    return f"{bits} bit{' floating point' if is_float else ''}"
