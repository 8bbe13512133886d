from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.band.songs import ROUGH_MIX, SONG_BY_SLUG, SONGS, DemoSong, render_song

SHORT = (("intro", 2), ("verse", 2), ("chorus", 2))


@pytest.mark.parametrize("song", SONGS, ids=lambda song: song.slug)
def test_each_song_sends_what_it_lists_in_the_format_it_says(tmp_path: Path, song: DemoSong) -> None:
    rendered = render_song(song, tmp_path, form=SHORT)

    assert len(rendered.paths) == len(song.sends) + len(song.twice)
    for path in rendered.paths:
        assert path.stat().st_size > 10_000
        info = soundfile.info(path)
        assert info.samplerate == (song.label_hz or song.sample_rate_hz)
        assert info.subtype == song.depth


def test_slugs_and_seeds_are_unique() -> None:
    assert len(SONG_BY_SLUG) == len(SONGS) == len({song.plan.seed for song in SONGS})
    assert all(set(song.sends) <= {*song.plan.players, ROUGH_MIX} for song in SONGS)


def test_the_hot_bass_is_clipped_and_the_late_keys_are_late(tmp_path: Path) -> None:
    song = SONG_BY_SLUG["damp-receipt"]
    bass, keys = render_song(song, tmp_path, form=SHORT).paths[:2]
    loud, _ = soundfile.read(bass)
    late, rate = soundfile.read(keys)

    assert np.mean(np.abs(loud) >= 0.999_999) > 0.001
    assert np.flatnonzero(np.abs(late).max(axis=1))[0] == pytest.approx(5_280, abs=0.03 * rate)


def test_a_mislabelled_song_plays_slow_and_long(tmp_path: Path) -> None:
    rendered = render_song(SONG_BY_SLUG["wrong-parcel"], tmp_path, form=SHORT)

    # Source: arithmetic; 48 kHz read as 44.1 kHz stretches by 160/147.
    true_s = float(rendered.truth.clock.time_of_bar(7)) + rendered.song.plan.ring_out_s
    assert soundfile.info(rendered.paths[0]).duration == pytest.approx(true_s * 160 / 147, abs=0.001)


def test_a_file_sent_twice_is_the_same_bytes(tmp_path: Path) -> None:
    paths = render_song(SONG_BY_SLUG["second-sock"], tmp_path, form=SHORT).paths

    assert paths[-1].name != paths[3].name
    assert paths[-1].read_bytes() == paths[3].read_bytes()


def test_a_rough_mix_is_the_sum_of_all_stems(tmp_path: Path) -> None:
    song = SONG_BY_SLUG["second-sock"]
    assert set(song.plan.players) - set(song.sends) == {"lead"}
    rendered = render_song(song, tmp_path, form=SHORT)
    read = {path.stem.rsplit("_", 1)[1]: soundfile.read(path, always_2d=True)[0] for path in rendered.paths[:5]}
    rest = read.pop(ROUGH_MIX) - sum(np.broadcast_to(stem, (len(stem), 2)) for stem in read.values())

    # What is left is the lead alone: the same on both sides, and sounding.
    assert np.abs(rest[:, 0] - rest[:, 1]).max() < 1e-5
    assert np.abs(rest).max() > 0.05
