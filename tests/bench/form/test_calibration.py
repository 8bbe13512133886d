from __future__ import annotations

import pytest

from analysis.core.chart_draft import ChartDraft, Hit
from analysis.core.reports import Section
from bench.form.calibration import are_bars_right, hit_claims, print_calibration, section_claims

TRUTH = {"bars": 8, "sections": [{"start_bar": 1}, {"start_bar": 5}], "hits": [{"bar": 4, "beat": 2.5}]}


def test_a_section_is_right_if_both_its_ends_are() -> None:
    draft = ChartDraft(sections=(Section(1, 4, "A", 0.9), Section(5, 3, "B", 0.6), Section(8, 1, "C", 0.4)))

    assert section_claims(draft, TRUTH) == [(0.9, True), (0.6, False), (0.4, False)]


def test_a_hit_is_right_in_its_place() -> None:
    draft = ChartDraft(hits=(Hit(4, 2.5, 0.5, 0.8), Hit(4, 2.75, 0.5, 0.7), Hit(5, 2.5, 0.5, 0.6)))

    assert hit_claims(draft, TRUTH) == [(0.8, True), (0.7, False), (0.6, False)]


def test_bars_are_right_where_lines_are_true_and_true_ones_found() -> None:
    true = [2.0 * bar for bar in range(11)]

    assert are_bars_right([0.01, 2.02, 4.0, 6.0, 8.0, 10.0, 12.0, 15.0], true)  # the last four bars may differ
    assert not are_bars_right([1.0 + 2 * bar for bar in range(10)], true)
    assert not are_bars_right([1.0 * bar for bar in range(21)], true)  # twice as many
    assert not are_bars_right([], true)


def test_shares_are_printed_by_bin(capsys: pytest.CaptureFixture[str]) -> None:
    print_calibration({"hits": [(0.96, True), (1.0, True), (0.97, False), (0.55, True)]})

    lines = capsys.readouterr().out.splitlines()
    assert lines[-1].split() == ["0.95", "to", "1.00", "0.67", "(3)"]
    assert "1.00 (1)" in next(line for line in lines if "0.50 to 0.60" in line)
