"""The frozen results that measuring hands out, and their one JSON form (schema 1).

Times are seconds from the start of the files, frames are samples per channel. `None` stands where there is no answer
(silence has no loudness); NaN and infinity never appear.
"""

from __future__ import annotations

import dataclasses
import types
import typing
from dataclasses import dataclass, field
from typing import Any, Literal, Self

# Raised when a key of the JSON form changes its meaning (house choice).
_SCHEMA = 1

_type_hints_by_class: dict[type, dict[str, Any]] = {}


class Record:
    """A frozen dataclass that travels as plain JSON: tuples as lists, nested records as objects."""

    def to_json(self) -> dict[str, Any]:
        return {item.name: _plain(getattr(self, item.name)) for item in dataclasses.fields(self)}  # type: ignore[arg-type]

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Self:
        """Read what `to_json` wrote. Unknown keys are ignored, missing ones take their default."""
        hints = _type_hints_by_class.get(cls)
        if hints is None:  # reading them takes longer than reading a record
            hints = _type_hints_by_class[cls] = typing.get_type_hints(cls)
        return cls(**{name: _read(hints[name], value) for name, value in data.items() if name in hints})


def _plain(value: Any) -> Any:
    if isinstance(value, Record):
        return value.to_json()
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    return value


def _read(hint: Any, value: Any) -> Any:
    if value is None:
        return None
    if typing.get_origin(hint) in (typing.Union, types.UnionType):
        hint = next(part for part in typing.get_args(hint) if part is not type(None))
    if typing.get_origin(hint) is tuple:
        return tuple(_read(typing.get_args(hint)[0], item) for item in value)
    if isinstance(hint, type) and issubclass(hint, Record):
        return hint.from_json(value)
    return value


@dataclass(frozen=True)
class Place(Record):
    """Where in the song: always a time when there is one, bar (1-based) and beat as soon as a grid exists."""

    time_s: float | None = None
    end_s: float | None = None
    bar: int | None = None
    beat: float | None = None


@dataclass(frozen=True)
class Finding(Record):
    """Something measured that someone should know or decide. `code` is one of `findings.KIND_BY_CODE`."""

    code: str
    severity: Literal["stop", "ask", "note"]
    file: str | None = None
    place: Place = Place()
    value: dict[str, Any] = field(default_factory=dict)
    message: str = ""


@dataclass(frozen=True)
class ClippedRun(Record):
    """Consecutive frames stuck at one extreme value in one channel."""

    channel: int
    start_s: float
    duration_s: float


@dataclass(frozen=True)
class ClippedEvent(Record):
    """Clipped runs that lie close together, over all channels: one bad chorus is one event."""

    start_s: float
    end_s: float
    runs: int
    longest_frames: int


@dataclass(frozen=True)
class Clipped(Record):
    """`runs` counts all clipped runs, `first` shows the first few, `events` the worst places in the order of time."""

    runs: int = 0
    longest_frames: int = 0
    first: tuple[ClippedRun, ...] = ()
    frames: int = 0
    level_dbfs: float | None = None
    events: tuple[ClippedEvent, ...] = ()


@dataclass(frozen=True)
class Dropout(Record):
    """A hole of digital silence, a stuck value or a repeated buffer inside music."""

    start_s: float
    duration_s: float
    kind: Literal["hole", "stuck", "repeat"]


@dataclass(frozen=True)
class Drums(Record):
    """Whether a file already holds drums, and how sure that is. None: can't tell."""

    present: bool | None = None
    confidence: float = 0.0


@dataclass(frozen=True)
class FileReport(Record):
    """What one file is. Numbers are None where the file could not be measured or has no answer.

    `declared_frames` is what the header promises, `missing_bytes` what it promises and the disk does not hold,
    `unclaimed_bytes` what the disk holds and no header counts; `broke_off` says that decoding ended in an error.
    `audio_digest` is equal for files whose decoded samples are equal, whatever the container. `dc_error` is how far
    `dc_offset` may be off by chance. `channel_fault` is
    `one-sided`, `inverted-channel`, `dual-mono` or None.
    """

    name: str
    sha256: str
    container: str | None = None
    codec: str | None = None
    lossy: bool | None = None
    sample_rate_hz: int | None = None
    bit_depth: int | None = None
    significant_bits: int | None = None
    channels: int | None = None
    frames: int | None = None
    duration_s: float | None = None
    sample_peak_dbfs: float | None = None
    true_peak_dbtp: float | None = None
    loudness_lufs: float | None = None
    dc_offset: float | None = None
    clipped: Clipped = Clipped()
    leading_silence_s: float | None = None
    trailing_silence_s: float | None = None
    spectral_edge_hz: float | None = None
    is_click: bool = False
    is_silent: bool = False
    start_offset_frames: int | None = None
    identical_to: str | None = None
    metadata: dict[str, Any] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    loudness_range_lu: float | None = None
    short_term_max_lufs: float | None = None
    momentary_max_lufs: float | None = None
    declared_frames: int | None = None
    missing_bytes: int = 0
    unclaimed_bytes: int = 0
    broke_off: bool = False
    dc_error: float | None = None
    bad_values: int = 0
    bad_value_s: float | None = None
    channel_fault: str | None = None
    channel_correlation: float | None = None
    sounding_side: Literal["left", "right"] | None = None
    audio_digest: str | None = None
    dropouts: tuple[Dropout, ...] = ()
    drums: Drums = Drums()


@dataclass(frozen=True)
class Alternative(Record):
    """Another way to read the tempo; `weight` is its probability. `meter` where it has bars of its own."""

    bpm: float
    weight: float
    meter: str | None = None
    bar_one_s: float | None = None
    label: str = ""


@dataclass(frozen=True)
class Tempo(Record):
    """Beats per minute of the felt beat. `bpm_exact` carries the value as a fraction ("112", "2800/25")."""

    kind: Literal["constant", "map", "none"] = "none"
    bpm: float | None = None
    bpm_exact: str | None = None
    bpm_low: float | None = None
    bpm_high: float | None = None
    source: Literal["click", "music", "brief", "midi"] | None = None
    residual_ms: float | None = None
    confidence: float = 0.0
    alternatives: tuple[Alternative, ...] = ()


@dataclass(frozen=True)
class MapSegment(Record):
    """From `bar` on, which starts at `time_s`, the beat runs at `bpm` in `meter`; where `free`, nobody keeps it."""

    bar: int
    time_s: float
    bpm: float
    meter: str
    free: bool = False

    def to_json(self) -> dict[str, Any]:
        return {name: value for name, value in super().to_json().items() if name != "free" or value}


@dataclass(frozen=True)
class Meter(Record):
    beats_per_bar: int | None = None
    beat_unit: int | None = None
    confidence: float = 0.0

    @property
    def sign(self) -> str:
        """As it is written at a staff, "6/8"; empty where none was measured."""
        return f"{self.beats_per_bar}/{self.beat_unit or 4}" if self.beats_per_bar else ""


@dataclass(frozen=True)
class BarOne(Record):
    """The downbeat where bar one begins, as the band plays it."""

    time_s: float | None = None
    frame: int | None = None
    confidence: float = 0.0
    pickup_beats: float = 0.0


@dataclass(frozen=True)
class Section(Record):
    """Bars that belong together; alike ones share their label. `dynamic` is relative to the song: "pp" to "ff"."""

    start_bar: int
    bars: int
    label: str
    confidence: float = 0.0
    dynamic: str = ""


@dataclass(frozen=True)
class SongMeasures(Record):
    tempo: Tempo = Tempo()
    tempo_map: tuple[MapSegment, ...] = ()
    meter: Meter = Meter()
    bar_one: BarOne = BarOne()
    count_in_bars: float = 0.0
    beats_s: tuple[float, ...] = ()
    downbeats_s: tuple[float, ...] = ()
    first_sound_s: float | None = None
    sections: tuple[Section, ...] = ()


# What the files begin with; "later": bar one comes some time after their start.
Starts = Literal["bar-one", "count-in", "pickup", "later", "unknown"]


@dataclass(frozen=True)
class Brief(Record):
    """What the client said. Evidence with a weight, never an override. `starts` says what the files begin with;
    `not_clicks` names files that sound like a click and are music, as somebody said who knows."""

    bpm: float | None = None
    meter: str | None = None
    starts: Starts = "unknown"
    count_in_bars: float | None = None
    sample_rate_hz: int | None = None
    duration_s: float | None = None
    make_map: bool = False
    click_promised: bool = False
    not_clicks: tuple[str, ...] = ()


@dataclass(frozen=True)
class SongReport(Record):
    """One song's files, measured together."""

    files: tuple[FileReport, ...] = ()
    song: SongMeasures = SongMeasures()
    findings: tuple[Finding, ...] = ()
    schema: int = _SCHEMA
    engine: str = ""
