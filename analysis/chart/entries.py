"""Who comes in and who leaves with a section, in words that stand at its first bar.

Tested by tests/analysis/chart/test_from_draft.py.
"""

from __future__ import annotations

import re

from analysis.chart.document import Words
from analysis.core.chart_draft import ChartDraft

FADE_WORDS = "fade out"
_ALL_IN = "all in"
_ENTRY = re.compile(r"only .+|\+ .+|.+ out")


def entry_words(draft: ChartDraft, section: int) -> str:
    """ "+ keys, strings; bass out", "only keys" at the beginning, "all in" where everybody plays from now on."""
    now = [one for one in draft.entries if one.section == section]
    into, out = [one.player for one in now if one.enters], [one.player for one in now if not one.enters]
    if section == 1:
        return f"only {', '.join(into)}" if into else ""
    there: set[str] = set(draft.players) if not any(one.section == 1 for one in draft.entries) else set()
    for one in draft.entries:
        if one.section <= section:
            (there.add if one.enters else there.discard)(one.player)
    if len(into) > 1 and there == set(draft.players):
        return _ALL_IN
    return "; ".join([*([f"+ {', '.join(into)}"] if into else []), *([f"{', '.join(out)} out"] if out else [])])


def is_entry(words: Words) -> bool:
    """Whether these are `entry_words`."""
    return words.text != FADE_WORDS and (words.text == _ALL_IN or bool(_ENTRY.fullmatch(words.text)))
