"""Files side by side. Line-up is asked for to the sample."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import soxr

from analysis.core.reports import Drums, FileReport
from analysis.core.samples import Samples
from analysis.core.thresholds import Limits
from analysis.findings.catalogue import client_message
from analysis.lineup.compare_files import CODEC_DELAYS, Comparison, codec_delay, compare_files, guide_drums
from analysis.measuring.song import SongFile
from analysis.measuring.survey import survey_file
from tests import signals
from tests.analysis.encoded import write_encoded, write_sound

RATE_HZ = 48_000
LENGTH_S = 8.0


def part(seed: int, *, low_hz: float = 100.0, high_hz: float = 4_000.0) -> Samples:
    """An instrument of its own: notes of filtered noise at its own moments."""
    rng = np.random.default_rng(seed)
    noise = signals.noise(rms=0.2, duration_s=LENGTH_S, seed=seed)[:, 0]
    spectrum = np.fft.rfft(noise)
    hz = np.fft.rfftfreq(len(noise), 1.0 / RATE_HZ)
    spectrum[(hz < low_hz) | (hz > high_hz)] = 0.0
    envelope = np.zeros(len(noise))
    for start in rng.integers(0, len(noise), 40):
        envelope[start : start + 12_000] += np.exp(-np.arange(len(envelope[start : start + 12_000])) / 4_000.0)
    return np.asarray(np.fft.irfft(spectrum, len(noise)) * np.minimum(envelope, 1.0))[:, None]


STEMS = {"bass": part(1, low_hz=40.0, high_hz=900.0), "keys": part(2), "lead": part(3, low_hz=300.0, high_hz=9_000.0)}
MIX: Samples = np.asarray(sum(STEMS.values())) * 0.8


def compared(folder: Path, files: dict[str, Samples], **rates_hz: int) -> Comparison:
    surveyed = []
    for name, samples in files.items():
        path = write_sound(folder / f"{name}.wav", samples, rates_hz.get(name, RATE_HZ))
        survey = survey_file(path)
        surveyed.append(SongFile(without_drums(survey.report), survey.features, path))
    return compare_files(surveyed)


def without_drums(report: FileReport) -> FileReport:
    """Bursts of noise are drums to anyone who listens, and here they stand for any instrument."""
    return dataclasses.replace(report, drums=Drums())


def found(comparison: Comparison) -> list[tuple[str, str | None]]:
    return [(finding.code, finding.file) for finding in comparison.findings]


def test_a_tidy_set_has_nothing_to_report(tmp_path: Path) -> None:
    comparison = compared(tmp_path, STEMS | {"mix": MIX})

    assert found(comparison) == []
    assert [report.start_offset_frames for report in comparison.reports] == [0, 0, 0, 0]


@pytest.mark.parametrize(
    ("late_frames", "gain"), [(3, 1.0), (20, -0.5), (133, 0.2), (1_105, -1.0), (9_999, 1.0), (50_000, -0.2)]
)
def test_a_late_stem_is_found_to_the_sample(tmp_path: Path, late_frames: int, gain: float) -> None:
    late = signals.delayed(STEMS["keys"], late_frames, gain=gain)
    comparison = compared(tmp_path, STEMS | {"keys": late, "mix": MIX})

    assert [report.start_offset_frames for report in comparison.reports] == [0, late_frames, 0, 0]
    assert found(comparison) == [("start-differs", "keys.wav")]
    finding = comparison.findings[0]
    assert (finding.value["offset_frames"], finding.value["later_or_earlier"]) == (late_frames, "later")
    assert finding.severity == ("stop" if late_frames > 240 else "note")


def test_a_late_mix_is_the_one_that_is_off(tmp_path: Path) -> None:
    comparison = compared(tmp_path, STEMS | {"mix": signals.delayed(MIX, 2_112)})

    assert [report.start_offset_frames for report in comparison.reports] == [0, 0, 0, 2_112]


def test_stems_that_share_no_sound_cannot_be_placed(tmp_path: Path) -> None:
    comparison = compared(tmp_path, STEMS | {"keys": signals.delayed(STEMS["keys"], 5_000)})

    assert [report.start_offset_frames for report in comparison.reports] == [None, None, None]
    assert found(comparison) == []


def test_a_known_encoder_delay_is_named(tmp_path: Path) -> None:
    """MP3 without a tag comes out 1105 frames late (measured: FFmpeg 5.1.9 with libmp3lame 3.100)."""
    path = write_encoded(tmp_path / "mix.mp3", MIX, codec="libmp3lame", container_options={"write_xing": "0"})
    files = []
    for name, samples in STEMS.items():
        write_sound(tmp_path / f"{name}.wav", samples)
        survey = survey_file(tmp_path / f"{name}.wav")
        files.append(SongFile(survey.report, survey.features, tmp_path / f"{name}.wav"))
    survey = survey_file(path)
    comparison = compare_files([*files, SongFile(survey.report, survey.features, path)])

    delays = [finding for finding in comparison.findings if finding.code == "codec-delay"]
    assert [(finding.file, finding.value["offset_frames"]) for finding in delays] == [
        ("mix.mp3", pytest.approx(1_105, abs=1))
    ]
    assert "MP3 encoder and decoder" in delays[0].message


@pytest.mark.parametrize("delay", CODEC_DELAYS)
def test_delays_are_named_within_two_frames(delay: int) -> None:
    names = {codec_delay(delay + error, Limits()) for error in (-2, 0, 2)}

    assert names == {CODEC_DELAYS[delay]}
    assert codec_delay(800, Limits()) is None


def test_the_same_recording_twice(tmp_path: Path) -> None:
    comparison = compared(tmp_path, {"bass": STEMS["bass"], "keys": STEMS["keys"], "bass copy": STEMS["bass"]})

    assert ("duplicate", "bass copy.wav") in found(comparison)
    assert [report.identical_to for report in comparison.reports] == [None, None, "bass.wav"]


def test_silent_files_are_not_called_copies(tmp_path: Path) -> None:
    silent = signals.silence(duration_s=LENGTH_S)

    assert found(compared(tmp_path, STEMS | {"pad": silent, "strings": silent})) == []


def test_another_rate(tmp_path: Path) -> None:
    """Converted properly: nothing wrong with it but the rate."""
    keys = soxr.resample(STEMS["keys"][:, 0], RATE_HZ, 44_100)[:, None]
    comparison = compared(tmp_path, STEMS | {"keys": keys, "mix": MIX}, keys=44_100)

    assert found(comparison) == [("rate-differs", "keys.wav")]
    assert comparison.findings[0].value == {"sample_rate_hz": 44_100, "expected_hz": 48_000}
    assert "44.1 kHz" in comparison.findings[0].message
    assert comparison.reports[1].start_offset_frames == 0


def test_another_depth(tmp_path: Path) -> None:
    write_sound(tmp_path / "b.wav", STEMS["bass"], subtype="PCM_16")
    files = []
    for name in ("b", "k", "l"):
        if name != "b":
            write_sound(tmp_path / f"{name}.wav", STEMS["keys" if name == "k" else "lead"])
        survey = survey_file(tmp_path / f"{name}.wav")
        files.append(SongFile(without_drums(survey.report), survey.features, None))

    assert found(compare_files(files)) == [("depth-differs", "b.wav")]


def test_another_length(tmp_path: Path) -> None:
    comparison = compared(tmp_path, STEMS | {"lead": STEMS["lead"][: 6 * RATE_HZ]})

    assert found(comparison) == [("length-differs", "lead.wav")]
    assert "2 seconds shorter" in comparison.findings[0].message


def test_every_stem_cut_at_its_own_end_is_said_once(tmp_path: Path) -> None:
    cut = {name: samples[: (4 + 2 * index) * RATE_HZ] for index, (name, samples) in enumerate(STEMS.items())}

    assert found(compared(tmp_path, cut)) == [("length-differs", "bass.wav")]


def test_files_that_could_not_be_measured_are_left_out(tmp_path: Path) -> None:
    (tmp_path / "notes.wav").write_text("see the other mail")
    broken = survey_file(tmp_path / "notes.wav")
    survey = survey_file(write_sound(tmp_path / "bass.wav", STEMS["bass"]))
    comparison = compare_files(
        [
            SongFile(broken.report, broken.features, tmp_path / "notes.wav"),
            SongFile(survey.report, survey.features, tmp_path / "bass.wav"),
        ]
    )

    assert found(comparison) == []
    assert comparison.reports[0] == dataclasses.replace(broken.report)


@pytest.mark.parametrize(("label_hz", "made_at"), [(44_100, 48_000), (96_000, 48_000)])
@pytest.mark.parametrize("name", ["keys", "mix"])
def test_a_wrong_label_is_told_from_another_rate(tmp_path: Path, name: str, label_hz: int, made_at: int) -> None:
    """48 kHz samples under another label run at the wrong speed: 0.919 of it, or twice."""
    comparison = compared(tmp_path, STEMS | {"mix": MIX}, **{name: label_hz})

    finding = next(finding for finding in comparison.findings if finding.code == "rate-mislabelled")
    assert (finding.file, finding.severity) == (f"{name}.wav", "stop")
    assert finding.value == {"sample_rate_hz": label_hz, "true_rate_hz": made_at}
    assert {code for code, _ in found(comparison)} == {"rate-mislabelled"}


def test_another_length_alone_is_no_wrong_label(tmp_path: Path) -> None:
    """As long as a wrong label would make it, but other music."""
    other = part(9)[: round(len(MIX) * 44_100 / 48_000)]

    assert "rate-mislabelled" not in {code for code, _ in found(compared(tmp_path, STEMS | {"mix": MIX, "pad": other}))}


def test_what_is_in_the_mix_but_in_no_stem(tmp_path: Path) -> None:
    """A voice sounds from 3 s to 7 s in the mix alone."""
    voice = part(7, low_hz=2_000.0, high_hz=6_000.0)
    voice[: 3 * RATE_HZ] = voice[7 * RATE_HZ :] = 0.0
    comparison = compared(tmp_path, STEMS | {"mix": MIX + 2.0 * voice})

    (finding,) = comparison.findings
    assert (finding.code, finding.file, finding.severity) == ("missing-from-stems", "mix.wav", "ask")
    ((start_s, end_s),) = finding.value["spans_s"]
    assert start_s == pytest.approx(3.0, abs=1.0)
    assert end_s == pytest.approx(7.0, abs=1.0)


@pytest.mark.parametrize(("ceiling", "stems_clipped"), [(0.03, ["bass.wav"]), (1.0, [])])
def test_a_clipped_stem_accuses_no_mix(tmp_path: Path, ceiling: float, stems_clipped: list[str]) -> None:
    """The bass is louder for 3.5 s, and cut off in its own file: the mix then has more of it than the stem can give."""
    level = np.ones((len(MIX), 1))
    level[3 * RATE_HZ : 6 * RATE_HZ + RATE_HZ // 2] = 3.0
    played = 0.1 * level * STEMS["bass"] / np.abs(STEMS["bass"]).max()
    others = {name: stem / 3.0 for name, stem in STEMS.items() if name != "bass"}
    mix = np.asarray(played + sum(others.values()))

    comparison = compared(tmp_path, others | {"bass": np.clip(played, -ceiling, ceiling), "mix": mix})

    clipped = [report.name for report in comparison.reports for said in report.findings if said.code == "clipped"]
    assert clipped == stems_clipped
    assert "missing-from-stems" not in {code for code, _ in found(comparison)}


def test_a_few_clipped_peaks_of_a_stem_hide_nothing(tmp_path: Path) -> None:
    """One run of four samples is a note: a voice that is in the mix alone is still told."""
    voice = part(7, low_hz=2_000.0, high_hz=6_000.0)
    voice[: 3 * RATE_HZ] = voice[7 * RATE_HZ :] = 0.0
    keys = STEMS["keys"].copy()
    keys[RATE_HZ : RATE_HZ + 4] = 1.01 * np.abs(keys).max()

    comparison = compared(tmp_path, STEMS | {"keys": keys, "mix": MIX + 2.0 * voice})

    assert "missing-from-stems" in {code for code, _ in found(comparison)}


@pytest.mark.parametrize("gains", [(1.0, 1.0, 1.0), (0.3, 1.5, -0.6)])
def test_a_mix_with_other_gains_and_a_filter_is_still_the_sum(tmp_path: Path, gains: tuple[float, ...]) -> None:
    mix = np.asarray(sum(gain * stem for gain, stem in zip(gains, STEMS.values(), strict=True)))
    mix[1:] -= 0.3 * mix[:-1]

    assert found(compared(tmp_path, STEMS | {"mix": mix})) == []


def test_a_file_that_is_cut_short_is_not_also_called_short(tmp_path: Path) -> None:
    surveyed = []
    for name, samples in STEMS.items():
        path = write_sound(tmp_path / f"{name}.wav", samples)
        if name == "lead":
            path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
        survey = survey_file(path)
        surveyed.append(SongFile(survey.report, survey.features, path))

    assert [finding.code for finding in surveyed[2].report.findings] == ["cut-short"]
    assert found(compare_files(surveyed)) == []


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("rough mix.wav", True),
        ("bass.wav", True),
        ("Drums.wav", False),
        ("song_kick_48k.wav", False),
        ("OH L.wav", False),
    ],
)
def test_drums_in_a_file_that_is_named_after_them_need_no_telling(name: str, told: bool) -> None:
    report = FileReport(name, "", drums=Drums(present=True, confidence=0.95))

    assert [finding.file for finding in guide_drums([report], Limits())] == ([name] if told else [])


@pytest.mark.parametrize(("confidence", "severity"), [(0.78, "note"), (0.97, "ask")])
def test_the_client_is_asked_only_where_drums_are_likely(confidence: float, severity: str) -> None:
    report = FileReport("guitar.wav", "", drums=Drums(present=True, confidence=confidence))

    (finding,) = guide_drums([report], Limits())
    assert finding.severity == severity
    assert finding.message == f"“guitar.wav” may hold drums, {confidence:.0%} sure: listen.".replace("%", " %")
    assert client_message(finding) == (
        f"“guitar.wav” sounds as if drums were already in it ({round(100 * confidence)} % sure). Are there drums in it?"
    )
