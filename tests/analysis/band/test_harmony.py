import pytest

from analysis.band.harmony import Key, chord_on, nearest_pitch, voicing


def test_chords_of_c_major() -> None:
    key = Key(0)

    assert chord_on(key, "I").tones == (0, 4, 7)
    assert chord_on(key, "VI").tones == (9, 0, 4)
    assert chord_on(key, "V", seventh=True).tones == (7, 11, 2, 5)


def test_the_dominant_of_a_minor_key_has_its_leading_note() -> None:
    assert chord_on(Key(9, minor=True), "V").tones == (4, 8, 11)


@pytest.mark.parametrize("near", [36.0, 41.2, 60.0])
@pytest.mark.parametrize("pitch_class", [0, 5, 11])
def test_the_nearest_pitch_is_of_its_class_and_within_half_an_octave(pitch_class: int, near: float) -> None:
    pitch = nearest_pitch(pitch_class, near)

    assert pitch % 12 == pitch_class
    assert abs(pitch - near) <= 6.5


def test_a_voicing_holds_each_tone_once_rising_within_an_octave() -> None:
    chord = chord_on(Key(2), "IV")
    pitches = voicing(chord, 53)

    assert sorted(pitch % 12 for pitch in pitches) == sorted(chord.tones)
    assert list(pitches) == sorted(pitches)
    assert pitches[-1] - pitches[0] < 12
    assert pitches[0] >= 53


def test_a_voicing_moves_as_little_as_it_can() -> None:
    first = voicing(chord_on(Key(0), "I"), 53)
    second = voicing(chord_on(Key(0), "IV"), 53, first)

    assert abs(sum(second) - sum(first)) / 3 <= 4
