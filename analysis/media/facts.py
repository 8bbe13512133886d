"""What a decoder knows about its file, apart from the samples. Tested in `tests/analysis/media/test_reader.py`."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class MediaFacts:
    """`bit_depth` is None for lossy codecs, `declared_frames` where the header does not say.

    The decoder sets `broke_off` when it gives up before the end.
    """

    codec: str
    lossy: bool
    sample_rate_hz: int
    channels: int
    bit_depth: int | None
    is_float: bool
    declared_frames: int | None
    broke_off: bool = False
    tags: dict[str, object] = field(default_factory=dict)
