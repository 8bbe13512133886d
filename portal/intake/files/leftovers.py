"""Files that systems and programs leave beside others: of no use to anybody, so they are left out, and that is said.

`portal/static/js/upload/junk.js` has the same rules for what is dragged into the page; a test holds the two together.
"""

from __future__ import annotations

FOLDERS = frozenset({"__macosx", ".spotlight-v100", ".trashes", ".fseventsd", ".temporaryitems", "$recycle.bin"})
NAMES = frozenset({"thumbs.db", "ehthumbs.db", "desktop.ini", "icon\r"})
# The drawn picture of a sound, which editors keep beside it to open it faster.
PEAK_ENDINGS = ("peak", "peaks", ".pk", ".pkf", ".gpk", ".sfk", ".ovw", ".wfm", ".asd")


def is_junk(path: str) -> bool:
    """Whether this path (with `/` between its parts) is a file that nobody means to send."""
    *folders, name = path.casefold().split("/")
    if any(folder in FOLDERS for folder in folders):
        return True
    return name.startswith(".") or name in NAMES or ("." in name and name.endswith(PEAK_ENDINGS))
