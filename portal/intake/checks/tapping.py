"""Taps on a song, read beside what was measured: the taps pick the level and the beat, the measurement the decimals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django import forms
from django.utils import timezone

from analysis.core import SongMeasures, tempo_in_figures, tempo_in_words
from analysis.maps import TappedTempo, fit_taps, is_off_beat, measured_at
from portal.bookings.models import Song
from portal.clean_text import read_json
from portal.intake.checks.offers import carried_bpm
from portal.intake.maps.song_maps import DEFAULT_METER, meter_of
from portal.intake.models import Tapping
from portal.people.models import User

MOST_TAPS = 512
# On any clock; what is no number is not below it either.
LATEST_TAP_S = 1e9


class TapsForm(forms.Form):
    taps_s = forms.CharField(max_length=16_000)
    per_beat = forms.TypedChoiceField(
        choices=[(1, "beats"), (2, "eighths"), (3, "thirds"), (4, "sixteenths")], coerce=int
    )
    from_song = forms.BooleanField(required=False)

    def clean_taps_s(self) -> list[float]:
        taps = read_taps(self.cleaned_data["taps_s"], most=MOST_TAPS)
        if taps is None:
            raise forms.ValidationError("No valid taps received.")
        return taps


def read_taps(text: str, *, most: int) -> list[float] | None:
    """Seconds from a JSON list; whatever else a browser may send in it is no tap. None where it is no list."""
    try:
        taps = read_json(text)
    except (ValueError, RecursionError):
        return None
    if not isinstance(taps, list):
        return None
    return [float(tap) for tap in taps if type(tap) in (int, float) and abs(tap) < LATEST_TAP_S][:most]


@dataclass(frozen=True)
class TappingShown:
    """What the sheet says about the taps. `bpm` is empty where nothing measured is what was tapped."""

    tapping: Tapping
    tapped: TappedTempo | None
    bpm: str
    meter: str
    bar_one_s: str
    words: str

    @property
    def tapped_words(self) -> str:
        """A person tapped the beat, whatever note that is."""
        return tempo_in_words(tempo_in_figures(round(self.tapped.bpm, 1))) if self.tapped else ""


def keep_taps(*, song: Song, taps_s: Sequence[float], per_beat: int, from_song: bool, by: User) -> Tapping:
    """The newest taps stand in for the ones before."""
    fields = {"by": by, "at": timezone.now(), "taps_s": taps_s, "per_beat": per_beat, "from_song": from_song}
    tapping, _ = Tapping.objects.update_or_create(song=song, defaults=fields)
    return tapping


def tapping_shown(song: Song) -> TappingShown | None:
    tapping = Tapping.objects.filter(song=song).select_related("by").first()
    if tapping is None:
        return None
    tapped = fit_taps(tapping.taps_s, taps_per_beat=tapping.per_beat)
    check = song.checks.done().first()
    meter = meter_of(check.numbers) if check else DEFAULT_METER
    if tapped is None:
        return TappingShown(tapping, None, "", meter, "", "Too few or too uneven taps: keep tapping.")
    measures = check.numbers.song if check else None
    bpm = measured_at(tapped, bpms_of(measures)) if measures else None
    if measures is None or bpm is None:
        words = "Your taps match no measured tempo, and taps alone are not precise enough for a click."
        return TappingShown(tapping, tapped, "", meter, "", words)
    # Of taps on eighths nobody can tell which of them is the beat.
    tells_the_beat = tapping.from_song and tapping.per_beat == 1
    bar_one_s, words = bar_one_of(measures, tapped, bpm, tells_the_beat=tells_the_beat)
    return TappingShown(tapping, tapped, carried_bpm(bpm), meter, bar_one_s, words)


def bpms_of(measures: SongMeasures) -> list[float]:
    answers = [measures.tempo.bpm, *(other.bpm for other in measures.tempo.alternatives)]
    return [bpm for bpm in answers if bpm]


def bar_one_of(measures: SongMeasures, tapped: TappedTempo, bpm: float, *, tells_the_beat: bool) -> tuple[str, str]:
    """Bar one stays where it was measured, unless the taps to the song's own sound lie between the beats."""
    bar_one_s = measures.bar_one.time_s or 0.0
    words = "The taps pick the beat, the measurement gives the decimals."
    level = bpm / (measures.tempo.bpm or bpm)
    if tells_the_beat and is_off_beat(tapped, measures.beats_s, one_s=bar_one_s, level=level):
        bar_one_s += 30 / bpm
        words = "The taps pick the beat and fall between the measured beats: bar one moves half a beat later."
    return f"{bar_one_s:.6f}", words
