"""The schema names every field that a chart can have, and what it may hold."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

import analysis.chart
from analysis.chart.document import Chart
from analysis.chart.schema import chart_schema
from tests.analysis.chart.by_hand import BY_HAND
from tests.analysis.chart.test_document import CHARTS

SCHEMA = chart_schema()
_TYPES: dict[str, Any] = {
    "string": str,
    "number": (int, float),
    "integer": int,
    "boolean": bool,
    "array": list,
    "object": dict,
}


def faults(value: Any, schema: dict[str, Any], place: str = "chart") -> list[str]:
    """By the keywords of JSON Schema 2020-12 that ours uses, as its validation specification states them."""
    if "$ref" in schema:
        return faults(value, SCHEMA["$defs"][schema["$ref"].rpartition("/")[2]], place)
    if "anyOf" in schema:
        return [] if any(not faults(value, one, place) for one in schema["anyOf"]) else [f"{place}: none of anyOf"]
    found = (
        [] if value == schema.get("const", value) and value in schema.get("enum", [value]) else [f"{place}: {value}"]
    )
    kind = schema.get("type")
    if kind and (not isinstance(value, _TYPES[kind]) or (isinstance(value, bool) and kind != "boolean")):
        return [f"{place}: no {kind}"]
    if kind == "string":
        is_short = len(value) <= schema.get("maxLength", len(value))
        found += [] if is_short and re.search(schema.get("pattern", ""), value) else [f"{place}: {value}"]
    if kind == "array":
        found += [one for at, item in enumerate(value) for one in faults(item, schema["items"], f"{place}.{at}")]
        found += [f"{place}: too many"] if len(value) > schema.get("maxItems", len(value)) else []
    if kind == "object":
        found += [f"{place}.{name}: missing" for name in schema["required"] if name not in value]
        for name, item in value.items():
            known = schema["properties"].get(name)
            found += faults(item, known, f"{place}.{name}") if known else [f"{place}.{name}: unknown"]
    return found


@pytest.mark.parametrize("name", BY_HAND)
def test_charts_by_hand_are_valid(name: str) -> None:
    assert faults(BY_HAND[name]().to_json(), SCHEMA) == []


@given(CHARTS)
@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_chart_is_valid(chart: Chart) -> None:
    assert faults(json.loads(json.dumps(chart.to_json())), SCHEMA) == []


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"title": None}, "chart.title: no string"),
        ({"chart": 2}, "chart.chart: 2"),
        ({"tonality": "C"}, "chart.tonality: unknown"),
        ({"sections": [{"bars": []}]}, "chart.sections.0.letter: missing"),
        ({"sections": [{"letter": "A", "bars": [{"shows": "dots"}]}]}, "chart.sections.0.bars.0.shows: dots"),
        ({"decided": ["weather"]}, "chart.decided.0: weather"),
    ],
)
def test_what_is_no_chart_is_not(change: dict[str, Any], fault: str) -> None:
    good = {"chart": 1, "title": "x", "sections": [{"letter": "A", "bars": [{}]}]}
    assert faults(good, SCHEMA) == []
    assert fault in faults(good | change, SCHEMA)


def test_the_file_that_is_handed_out_is_the_schema() -> None:
    path = Path(analysis.chart.__file__).parent / "schema.json"
    assert json.loads(path.read_text()) == SCHEMA
