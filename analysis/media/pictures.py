"""Photographs: decoded, turned as the camera says, made smaller, and written anew as JPEG (ISO/IEC 10918-1).

Nothing but the colours of its points is kept: no place, camera, date or preview. What a file is, its first bytes say;
no other format than those listed is opened.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path

from PIL import Image, ImageOps, UnidentifiedImageError

from analysis.core.errors import UnusableFileError
from analysis.core.reports import Record

# House choices: what phones and cameras write, up to 60 million points; a sheet shows no more than this many on a side.
_FORMATS = ("JPEG", "PNG", "WEBP")
_MOST_POINTS = 60_000_000
_LEAST_SIDE, _LONGEST_SIDE = 64, 2_000
_QUALITY = 85


@dataclass(frozen=True)
class Picture(Record):
    width: int
    height: int


def write_picture(path: Path, to: Path) -> Picture:
    """Write the photograph at `path` anew to `to`.

    Raises
    ------
    UnusableFileError
        For a file that is no photograph of a known format, too large or too small, or damaged.
    """
    try:
        with warnings.catch_warnings(), path.open("rb") as file, Image.open(file, formats=_FORMATS) as opened:
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # the limit below is lower
            if opened.width * opened.height > _MOST_POINTS:
                raise UnusableFileError(f"has more than {_MOST_POINTS // 1_000_000} million points")
            if min(opened.size) < _LEAST_SIDE:
                raise UnusableFileError(f"is smaller than {_LEAST_SIDE} points on a side")
            return _written(opened, to)
    except UnidentifiedImageError as error:
        raise UnusableFileError("is no JPEG, PNG or WebP photograph") from error
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise UnusableFileError("is a damaged photograph") from error


def _written(opened: Image.Image, to: Path) -> Picture:
    opened.draft("RGB", (_LONGEST_SIDE, _LONGEST_SIDE))  # JPEG: decode no more than is kept
    turned = ImageOps.exif_transpose(opened)
    turned.thumbnail((_LONGEST_SIDE, _LONGEST_SIDE))
    plain = Image.new("RGB", turned.size, "white")
    plain.paste(turned.convert("RGBA"), mask=turned.convert("RGBA").getchannel("A"))
    with to.open("wb") as file:
        plain.save(file, "JPEG", quality=_QUALITY, optimize=True)
    return Picture(*plain.size)
