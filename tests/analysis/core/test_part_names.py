"""Roles by words in names; the names that clients give to stems are tried in tests/portal/kit/test_roles.py."""

from analysis.core.part_names import OTHER, WORDS, role_in_name


def test_each_word_is_of_one_role() -> None:
    words = [word for known in WORDS.values() for word in known]
    assert len(words) == len(set(words))


def test_the_first_role_with_a_word_in_the_name_counts() -> None:
    assert role_in_name("Wet Stairs_drum mix.wav") == "drums"
    assert role_in_name("Wet Stairs_vox.wav") == "voices"
    assert role_in_name("ghost.wav") == OTHER
