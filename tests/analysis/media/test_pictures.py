"""Photographs are written anew: turned as the camera says, no larger than a sheet needs, and silent about the rest."""

from pathlib import Path

import pytest
from PIL import Image

from analysis.core.errors import UnusableFileError
from analysis.media import pictures
from analysis.media.pictures import write_picture

ORIENTATION, GPS, MODEL = 0x0112, 0x8825, 0x0110  # tags of EXIF (CIPA DC-008)


def photograph(path: Path, size: tuple[int, int] = (400, 200)) -> Path:
    """Red on the left, blue on the right; to be turned by 90 degrees clockwise (orientation 6 of EXIF)."""
    image = Image.new("RGB", size, "red")
    image.paste("blue", (size[0] // 2, 0, *size))
    exif = Image.Exif()
    exif[ORIENTATION], exif[MODEL] = 6, "A camera"
    exif.get_ifd(GPS)[1] = "N"
    image.save(path, exif=exif)
    return path


def test_it_is_turned_and_says_nothing_else(tmp_path: Path) -> None:
    to = tmp_path / "new"
    written = write_picture(photograph(tmp_path / "kit.jpg"), to)

    assert (written.width, written.height) == (200, 400)
    with Image.open(to) as image:
        assert (image.format, image.size, dict(image.getexif())) == ("JPEG", (200, 400), {})
        assert "exif" not in image.info
        top, bottom = image.getpixel((100, 50)), image.getpixel((100, 350))
    assert isinstance(top, tuple)
    assert isinstance(bottom, tuple)
    assert top[0] > 200 > 50 > top[2]
    assert bottom[2] > 200 > 50 > bottom[0]
    assert b"A camera" not in to.read_bytes()


def test_a_large_one_is_made_smaller_and_what_is_clear_becomes_white(tmp_path: Path) -> None:
    path, to = tmp_path / "kit.png", tmp_path / "new"
    Image.new("RGBA", (4_000, 1_000), (0, 0, 0, 0)).save(path)

    assert write_picture(path, to).to_json() == {"width": 2_000, "height": 500}
    with Image.open(to) as image:
        assert image.getpixel((5, 5)) == (255, 255, 255)


def test_what_is_none_too_large_too_small_or_cut_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = photograph(tmp_path / "kit.jpg")
    whole = path.read_bytes()
    for content, words in ((b"%PDF-1.7", "is no JPEG"), (whole[: len(whole) // 2], "is a damaged photograph")):
        path.write_bytes(content)
        with pytest.raises(UnusableFileError, match=words):
            write_picture(path, tmp_path / "new")
    with pytest.raises(UnusableFileError, match="is smaller than 64 points"):
        write_picture(photograph(path, (400, 63)), tmp_path / "new")
    monkeypatch.setattr(pictures, "_MOST_POINTS", 79_999)
    with pytest.raises(UnusableFileError, match="million points"):
        write_picture(photograph(path), tmp_path / "new")
