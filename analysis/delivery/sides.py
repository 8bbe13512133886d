"""Left and right: do the pairs agree, and do they keep the perspective that was stated?

The snare stands on the hat's side of the kick, so the microphone on that side hears it relatively earlier. Without a
stated perspective nobody can say which side that is (D-1.2: there is no standard); but overheads and rooms must agree.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.delivery.check_results import Check
from analysis.delivery.measured_set import MeasuredSet, Track

# A difference of arrival that small says nothing: 10 cm (house choice). In seconds.
_CLEAR_S = 0.0003
_UNSURE = 0.7
# Of a kit with the hat on the player's left, as most are set up; from in front that is the right.
_SNARE_SIDE = {"player": "left", "audience": "right"}


def sides(measured: MeasuredSet) -> Iterator[Check]:
    pairs = {kind: pair for kind in ("overhead", "room") if (pair := measured.pair(kind))}
    found = {kind: side for kind, pair in pairs.items() if (side := _snare_side(measured, pair))}
    wanted = _SNARE_SIDE.get(measured.song.perspective)
    if wanted:
        yield from _as_stated(measured, pairs, found, wanted)
    elif len(set(found.values())) > 1:
        over, room = pairs["overhead"], pairs["room"]
        words = (
            f"{over[0].file} and {over[1].file} have the snare on the {found['overhead']}, {room[0].file} and "
            f"{room[1].file} on the {found['room']}: left and right of one pair are swapped."
        )
        yield Check("sides", over[0].file, passed=False, value=found["overhead"], limit=found["room"], message=words)


def _snare_side(measured: MeasuredSet, pair: tuple[Track, Track]) -> str | None:
    """Which of the two hears the snare earlier, as they hear the kick; None where that is not clear."""
    by_snare, by_kick = (_left_later_s(measured, kind, pair) for kind in ("snare", "kick"))
    if by_snare is None or by_kick is None or abs(by_snare - by_kick) < _CLEAR_S:
        return None
    return "left" if by_snare < by_kick else "right"


def _left_later_s(measured: MeasuredSet, kind: str, pair: tuple[Track, Track]) -> float | None:
    close = measured.own_microphone(kind)
    heard = [measured.heard[close.name].get(one.name) for one in pair] if close else [None]
    lags = [one.lag_frames for one in heard if one is not None and one.rival < _UNSURE]
    return (lags[0] - lags[1]) / measured.sample_rate_hz if len(lags) == 2 else None


def _as_stated(
    measured: MeasuredSet, pairs: dict[str, tuple[Track, Track]], found: dict[str, str], wanted: str
) -> Iterator[Check]:
    stated = f"{measured.song.perspective}'s perspective, with the hat on the player's left"
    for kind, (left, right) in pairs.items():
        side = found.get(kind)
        if side is None:
            words = (
                f"Can't tell whether {left.file} and {right.file} are swapped: they hear snare and kick too much alike."
            )
            yield Check("sides", left.file, passed=True, message=words, undecided=True)
        elif side == wanted:
            words = f"{left.file} and {right.file} have the snare on the {side}, as stated ({stated})."
            yield Check("sides", left.file, passed=True, value=side, limit=wanted, message=words)
        else:
            words = (
                f"{left.file} and {right.file} have the snare on the {side}; it should be on the {wanted} ({stated})."
            )
            yield Check("sides", left.file, passed=False, value=side, limit=wanted, message=words)
