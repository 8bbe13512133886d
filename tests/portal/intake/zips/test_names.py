from __future__ import annotations

import struct
import zlib

import pytest

from portal.intake.zips.names import UTF8_FLAG, name_of, place_of


class TestNameOf:
    def test_the_flag_says_utf_8(self) -> None:
        assert name_of("보컬.wav".encode(), UTF8_FLAG, b"") == ("보컬.wav", False)

    def test_bytes_that_belie_the_flag_show_as_replacement_marks(self) -> None:
        assert name_of(b"\xff.wav", UTF8_FLAG, b"") == ("\N{REPLACEMENT CHARACTER}.wav", False)

    def test_utf_8_without_the_flag_is_read_all_the_same(self) -> None:
        assert name_of("Gitarre für Strophe.wav".encode(), 0, b"") == ("Gitarre für Strophe.wav", False)

    def test_code_page_437_is_what_the_standard_falls_back_to(self) -> None:
        """APPNOTE, appendix D.1. 0x81 is ü there."""
        assert name_of(b"f\x81r.wav", 0, b"") == ("für.wav", True)

    def test_a_unicode_path_beside_the_name_counts_when_it_belongs_to_it(self) -> None:
        """APPNOTE 4.6.9: version 1, CRC-32 of the name in the header, the name in UTF-8."""
        raw, told = b"\xba\xb8.wav", "보.wav".encode()

        def extra(crc: int) -> bytes:
            field = struct.pack("<BI", 1, crc) + told
            return struct.pack("<HHB", 0x5455, 1, 0) + struct.pack("<HH", 0x7075, len(field)) + field

        assert name_of(raw, 0, extra(zlib.crc32(raw))) == ("보.wav", False)
        assert name_of(raw, 0, extra(zlib.crc32(raw) ^ 1))[1] is True


class TestPlaceOf:
    @pytest.mark.parametrize(
        ("path", "folders", "name"),
        [
            ("kick.wav", (), "kick.wav"),
            ("Stems/Drums/kick.wav", ("Stems", "Drums"), "kick.wav"),
            ("Stems\\kick.wav", ("Stems",), "kick.wav"),
            ("/etc/passwd", ("etc",), "passwd"),
            ("C:\\Music\\kick.wav", ("Music",), "kick.wav"),
            ("./a//kick.wav", ("a",), "kick.wav"),
            ("a/kick.wav\x00.exe", ("a",), "kick.wav.exe"),
        ],
    )
    def test_paths(self, path: str, folders: tuple[str, ...], name: str) -> None:
        place = place_of(path)
        assert (place.folders, place.name, place.leads_out) == (folders, name, False)

    @pytest.mark.parametrize("path", ["../kick.wav", "a/../../kick.wav", "..\\kick.wav", "a/..", "a/ .. /b.wav"])
    def test_out_of_the_zip(self, path: str) -> None:
        assert place_of(path).leads_out
