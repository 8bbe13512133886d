"""Everything that the search page shows one reader: a few of each kind, or one kind page by page."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from portal.folding import Words, words_in
from portal.people.models import User
from portal.search.kinds import KIND_BY_KEY, KINDS, Found, Kind

MOST_OF_EACH = 6
MOST_ON_A_PAGE = 40
LAST_PAGE = 250


@dataclass(frozen=True)
class Group:
    """What was found of one kind; `newer` and `more` are the queries that show what comes before and after."""

    title: str
    found: tuple[Found, ...]
    newer: str = ""
    more: str = ""


@dataclass(frozen=True)
class SearchPage:
    query: str
    words: Words
    groups: tuple[Group, ...]
    kind: Kind | None = None

    @property
    def whole(self) -> str:
        return urlencode({"q": self.query})


def search_page(user: User, query: str, *, key: str = "", number: int = 1) -> SearchPage:
    """One query for each kind and one for the seats of bookings, however much there is to find."""
    words, kind = words_in(query), KIND_BY_KEY.get(key)
    if not words:
        return SearchPage(query, words, (), kind)
    if kind is not None:
        return SearchPage(query, words, (_group(user, query, words, kind, number, MOST_ON_A_PAGE),), kind)
    groups = (_group(user, query, words, kind, 1, MOST_OF_EACH) for kind in KINDS)
    return SearchPage(query, words, tuple(group for group in groups if group.found))


def _group(user: User, query: str, words: Words, kind: Kind, number: int, size: int) -> Group:
    number = min(max(number, 1), LAST_PAGE)
    start = (number - 1) * size
    rows = list(kind.rows(user, words)[start : start + size + 1])
    return Group(
        title=kind.title,
        found=tuple(kind.shown(row, words) for row in rows[:size]),
        newer=_link(query, kind, number - 1) if number > 1 else "",
        # The short list leads to the long one from its beginning.
        more=_link(query, kind, number + 1 if size == MOST_ON_A_PAGE else 1) if len(rows) > size else "",
    )


def _link(query: str, kind: Kind, number: int) -> str:
    return urlencode({"q": query, "in": kind.key, "page": number})
