import argparse

import pytest

from bench.files import standards


def test_every_row_is_printed_with_its_source(capsys: pytest.CaptureFixture[str]) -> None:
    standards.run(argparse.Namespace())
    printed = capsys.readouterr().out

    assert [f"case {number}" in printed for number in (1, 2, 3, 4, 5, 6, 9, 10, 12, 13, *range(15, 24))] == [True] * 19
    assert printed.count("EBU Tech 3341 v4") == 20
    assert "no answer" not in printed
