"""The fitted weights of borders and of pairs of sections: what `bench/form/fit_form.py` wrote, by name.

Tested with what uses them: tests/analysis/form/test_sections.py.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Self

from analysis.core.linear_model import LinearModel
from analysis.form import borders, letters

PATH = Path(__file__).with_name("form_weights.json")


@dataclass(frozen=True)
class FormModels:
    borders: LinearModel
    pairs: LinearModel

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Self:
        return cls(
            LinearModel.from_json(data["borders"], borders.NUMBERS),
            LinearModel.from_json(data["pairs"], letters.NUMBERS),
        )

    def to_json(self) -> dict[str, Any]:
        return {
            "borders": self.borders.to_json(borders.NUMBERS),
            "pairs": self.pairs.to_json(letters.NUMBERS),
        }


@cache
def form_models() -> FormModels:
    return FormModels.from_json(json.loads(PATH.read_text("utf-8")))
