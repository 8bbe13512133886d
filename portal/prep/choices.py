"""How a song's click and session pack are made: as chosen for the song, else as the house has it."""

from __future__ import annotations

from collections import Counter

from analysis.delivery import Agreed
from analysis.maps import ClickStyle
from analysis.session import SessionSettings
from portal.bookings.models import Song
from portal.intake.models import ApprovedMap
from portal.prep.models import HousePrep, Rate, SongPrep


def settings_for(approved: ApprovedMap) -> SessionSettings:
    house, song = HousePrep.get(), song_prep(approved.song)
    return SessionSettings(
        sample_rate_hz=song.sample_rate_hz or house.sample_rate_hz or rate_of_files(approved.song),
        bit_depth=song.bit_depth or house.bit_depth,
        start_bar=song.start_bar or house.start_bar,
        count_in_bars=count_in_of(approved, house),
        clock_start_h=house.clock_start_h,
        name_template=house.name_template,
        click=ClickStyle(
            subdivision=str(song.subdivision or house.subdivision),
            bars_on=song.bars_on,
            bars_off=song.bars_off,
            sound=str(song.click_sound or house.click_sound),
            peak_dbfs=float(house.click_peak_dbfs),
        ),
    )


def agreed_for(song: Song) -> Agreed:
    """What was chosen for the song's files by hand, or for all songs of the house; what nobody chose was not agreed."""
    chosen = song_prep(song)
    return Agreed(chosen.sample_rate_hz or HousePrep.get().sample_rate_hz, chosen.bit_depth)


def song_prep(song: Song) -> SongPrep:
    """As saved, else as the house has everything."""
    return SongPrep.objects.filter(song=song).first() or SongPrep(song=song)


def rate_of_files(song: Song) -> int:
    """That of most files."""
    reports = [source.numbers for source in song.sources.current()]
    rates_hz = [report.sample_rate_hz for report in reports if report and report.sample_rate_hz]
    return Counter(rates_hz).most_common(1)[0][0] if rates_hz else Rate.R48.value


def count_in_of(approved: ApprovedMap, house: HousePrep) -> int:
    """As the drummer set it with the map, else as the brief says, else as the house has it."""
    if approved.count_in_bars is not None:
        return approved.count_in_bars
    return approved.song.brief.count_in_bars or house.count_in_bars
