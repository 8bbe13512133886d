from __future__ import annotations

import pytest

from analysis.core.chart_draft import ChartDraft, Ending, Hit, SectionGroove, Stop
from analysis.core.reports import Section
from bench.form.figures import Counts, counts_of, print_figures

TRUTH = {
    "drums": True,
    "stems": False,
    "sections": [{"start_bar": 1, "bars": 4, "dynamic": "p"}, {"start_bar": 5, "bars": 4, "dynamic": "f"}],
    "hits": [{"bar": 4, "beat": 2.5}, {"bar": 4, "beat": 4.0}],
    "stops": [{"bar": 8, "beat": 3.0, "beats": 2.0}],
    "ending": {"kind": "held", "bar": 8},
    "grooves": [{"section": 1, "kick": [1.0], "snare": [3.0], "hat": [1.0, 2.0]}],
    "fills": [8],
    "fill_beats": [3.0],
}


def test_each_part_is_counted_against_the_truth() -> None:
    draft = ChartDraft(
        bars=9,
        sections=(Section(1, 5, "A", 0.5, "mp"), Section(6, 4, "B", 0.5, "mf")),
        hits=(Hit(4, 2.5, 0.5), Hit(4, 3.75, 0.5), Hit(5, 4.0, 0.5)),
        stops=(Stop(8, 3.0, 2.2),),
        grooves=(SectionGroove(1, (1.0, 2.5), (3.0,), (1.0, 2.0)),),
        fills=(4, 8),
        fill_beats=(3.0, 4.0),
        ending=Ending("held", 9),
    )

    assert counts_of(draft, TRUTH) == {
        "hits": Counts(1, 3, 2),
        "stops": Counts(1, 1, 1),
        "ending": Counts(1, 1, 1),
        "ending and its bar": Counts(0, 1, 1),
        "grooves": Counts(4, 5, 4),
        "fills": Counts(1, 2, 1),
        "fills and where they begin": Counts(0, 2, 1),
        "louder or softer": Counts(1, 1, 1),
    }


@pytest.mark.parametrize(("dynamics", "counts"), [("mf mf", Counts(0, 0, 1)), ("f p", Counts(0, 1, 1))])
def test_dynamics_that_go_nowhere_or_the_wrong_way(dynamics: str, counts: Counts) -> None:
    one, two = dynamics.split()
    draft = ChartDraft(sections=(Section(1, 4, "A", 0.5, one), Section(5, 4, "B", 0.5, two)))

    assert counts_of(draft, TRUTH)["louder or softer"] == counts


def test_a_groove_where_nobody_plays_drums_counts_as_said() -> None:
    draft = ChartDraft(sections=(Section(1, 4, "A"), Section(5, 4, "B")), grooves=(SectionGroove(2, (1.0,)),))

    assert counts_of(draft, TRUTH)["grooves"] == Counts(0, 1, 4)


def test_precision_and_recall_come_from_the_sums(capsys: pytest.CaptureFixture[str]) -> None:
    total = Counts(1, 3, 2) + Counts(2, 3, 4)

    assert (total.scores.precision, total.scores.recall) == (0.5, 0.5)
    assert Counts().scores.f == 0
    print_figures([(TRUTH, {"hits": total})])
    assert " 0.50  0.50  0.50     3    6    6" in capsys.readouterr().out
