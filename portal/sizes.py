"""Sizes of files as people read them. A megabyte is 10^6 bytes (SI; IEC 80000-13 calls 2^20 a mebibyte)."""

STEP = 1000
UNITS = ("kB", "MB", "GB", "TB")


def size_in_words(size_bytes: int) -> str:
    """ "1 byte", "999 bytes", "1.2 MB": one decimal from a kilobyte on."""
    if size_bytes < STEP:
        return f"{size_bytes}\N{NO-BREAK SPACE}byte{'' if size_bytes == 1 else 's'}"
    size = float(size_bytes)
    for unit in UNITS:
        size /= STEP
        # What would read "1000.0" is one of the next unit.
        if round(size, 1) < STEP or unit == UNITS[-1]:
            break
    return f"{size:.1f}\N{NO-BREAK SPACE}{unit}"
