"""The JSON of a chart as a JSON Schema (draft 2020-12), made from the document's own classes; `schema.json` is a copy
of it to hand out.

A schema says what fields there are and what they may hold. That a hit lies inside its bar, or a rhythm on its grid,
only `reading.read_chart` knows.
"""

from __future__ import annotations

import dataclasses
import types
import typing
from fractions import Fraction
from typing import Any

from analysis.chart import document
from analysis.chart.reading import MOST_BARS, MOST_IN_BAR, MOST_SECTIONS, MOST_TEXT
from analysis.maps.tempo_map import MeterSign

_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_METER = {"type": "string", "pattern": r"^\d{1,2}/(1|2|4|8|16|32)$"}
_BEAT = {
    "description": "In the meter's written unit; a text where decimals cannot say it.",
    "anyOf": [{"type": "number"}, {"type": "string", "pattern": r"^-?\d{1,7}(\.\d{1,20}|/[1-9]\d{0,5})?$"}],
}
_WORDS: dict[tuple[str, str], tuple[str, ...]] = {
    ("Bar", "shows"): document.SHOWS,
    ("Note", "mark"): document.MARKS,
    ("Note", "voice"): ("", *document.VOICES),
    ("Dynamic", "level"): document.LEVELS,
    ("Chart", "feel"): document.FEELS,
    ("Jump", "to"): (document.SEGNO, document.START),
    ("Jump", "until"): (document.CODA, document.FINE, document.END),
}
_DECIDED = {
    "Chart": document.CHART_ASPECTS,
    "Section": document.SECTION_ASPECTS,
    "Bar": document.BAR_ASPECTS,
}
_MOST = {"sections": MOST_SECTIONS, "bars": MOST_BARS}
# The meter of a bar is the chart's unless it says otherwise.
_OPTIONAL = {("Bar", "meter")}


def chart_schema() -> dict[str, Any]:
    """The same document gives the same schema."""
    kinds = [document.Chart, document.Section, document.Bar, document.Note, document.Hit, document.Span]
    kinds += [document.Dynamic, document.Words, document.Road, document.Jump, document.Tempo]
    chart = _object(document.Chart)
    chart["properties"] = {"chart": {"const": document.FORMAT}, **chart["properties"]}
    chart["required"] = ["chart", *chart["required"]]
    definitions = {kind.__name__: _object(kind) for kind in kinds[1:]}
    return {"$schema": _DIALECT, "title": "A drum chart", **chart, "$defs": definitions}


def _object(kind: type) -> dict[str, Any]:
    hints = typing.get_type_hints(kind)
    fields = dataclasses.fields(kind)
    properties = {field.name: _value(kind.__name__, field.name, hints[field.name]) for field in fields}
    missing = dataclasses.MISSING
    required = [one.name for one in fields if one.default is missing and (kind.__name__, one.name) not in _OPTIONAL]
    return {"type": "object", "properties": properties, "required": required, "additionalProperties": False}


def _value(kind: str, name: str, hint: Any) -> dict[str, Any]:
    if name == "decided":
        return {"type": "array", "items": {"enum": list(_DECIDED[kind])}, "uniqueItems": True}
    if words := _WORDS.get((kind, name)):
        return {"enum": list(words)}
    if typing.get_origin(hint) is tuple:
        item = _value(kind, "", typing.get_args(hint)[0])
        return {"type": "array", "items": item, "maxItems": _MOST.get(name, MOST_IN_BAR)}
    if isinstance(hint, types.UnionType):
        return _value(kind, name, next(one for one in typing.get_args(hint) if one is not type(None)))
    return _plain(hint)


def _plain(hint: Any) -> dict[str, Any]:
    if hint is MeterSign:
        return dict(_METER)
    if hint is Fraction:
        return dict(_BEAT)
    simple: dict[Any, dict[str, Any]] = {
        str: {"type": "string", "maxLength": MOST_TEXT},
        bool: {"type": "boolean"},
        int: {"type": "integer"},
    }
    return dict(simple[hint]) if hint in simple else {"$ref": f"#/$defs/{hint.__name__}"}
