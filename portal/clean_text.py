"""The one door for text from outside: forms, addresses, names in uploads and zips, tags and texts inside files.

What no page can show and what PostgreSQL refuses (NUL, lone surrogates) is taken out here, before any table; so are the
marks that turn the direction of writing, which make one name read as another.
"""

from __future__ import annotations

import json
import re
from typing import Any

from django.http import HttpRequest, QueryDict
from django.utils.deprecation import MiddlewareMixin

# They turn the writing direction round, so that "gnp.exe" can be made to read "exe.png" (Unicode UAX #9, and the BOM).
BIDI_CONTROLS = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff")
# C0 and C1 controls but tab and line ends, and surrogates, which are half a character each.
UNCLEAN = re.compile(f"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff{''.join(sorted(BIDI_CONTROLS))}]")


def clean(text: str) -> str:
    return UNCLEAN.sub("", text)


def clean_deep(value: Any) -> Any:
    """What JSON may hold, with every text in it cleaned, keys too."""
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, dict):
        return {clean_deep(key): clean_deep(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [clean_deep(one) for one in value]
    return value


def read_json(text: str | bytes) -> Any:
    """JSON from a page: its escapes can spell what the text around them may not hold. Raises ValueError."""
    return clean_deep(json.loads(text))


class CleanTextMiddleware(MiddlewareMixin):
    """Views see clean forms and addresses. After the check of the cross-site token, which reads the form anyway."""

    def process_view(self, request: HttpRequest, *_: object) -> None:
        request.GET = cleaned(request.GET)  # type: ignore[assignment]
        if request.method == "POST":
            request.POST = cleaned(request.POST)  # type: ignore[assignment]


def cleaned(fields: QueryDict) -> QueryDict:
    """A password stays as it was typed: it is only ever hashed, and its field refuses NUL."""
    if not any(UNCLEAN.search(value) for values in dict(fields.lists()).values() for value in values):
        return fields
    copy = fields.copy()
    for name, values in fields.lists():
        if "password" not in name:
            copy.setlist(name, [clean(value) for value in values])
    copy._mutable = False
    return copy
