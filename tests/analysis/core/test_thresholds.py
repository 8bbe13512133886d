"""A house edits single limits; rules under `tests/analysis/rules` say what each of them does."""

import dataclasses

from analysis.core.thresholds import Limits


def test_an_edited_limit_leaves_the_others_as_they_are() -> None:
    assert Limits.from_json({"silent_peak_dbfs": -70.0}) == dataclasses.replace(Limits(), silent_peak_dbfs=-70.0)


def test_limits_survive_their_json_form() -> None:
    edited = Limits(drums_sure=0.9)

    assert Limits.from_json(edited.to_json()) == edited
