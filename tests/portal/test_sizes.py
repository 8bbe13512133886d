"""Sizes in words: a megabyte is a million bytes (SI)."""

import pytest

from portal.sizes import size_in_words


@pytest.mark.parametrize(
    ("size_bytes", "words"),
    [
        (0, "0 bytes"),
        (1, "1 byte"),
        (999, "999 bytes"),
        (1_000, "1.0 kB"),
        (34_560_000, "34.6 MB"),  # a mono track of 4:00 at 48 kHz and 24 bits (DT-9: 34.56 MB)
        (483_840_000, "483.8 MB"),  # fourteen of them (DT-9: 483.8 MB)
        (999_949, "999.9 kB"),
        (999_950, "1.0 MB"),
        (2**32, "4.3 GB"),
        (10**16, "10000.0 TB"),
    ],
)
def test_says_a_size(size_bytes: int, words: str) -> None:
    assert size_in_words(size_bytes).replace("\N{NO-BREAK SPACE}", " ") == words
