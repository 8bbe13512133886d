"""First bytes decide. What cannot be sound is named in `test_reader.py`, from files on disk."""

import pytest

from analysis.media.file_type import Content, identify


def identified(head: bytes) -> Content:
    return identify(head, size_bytes=len(head))


@pytest.mark.parametrize(
    ("head", "container"),
    [
        (b"RIFF\0\0\0\0WAVE", "wav"),
        (b"RIFX\0\0\0\0WAVE", "wav"),
        (b"RF64\xff\xff\xff\xffWAVE", "rf64"),
        (b"BW64\xff\xff\xff\xffWAVE", "bw64"),
        (b"FORM\0\0\0\0AIFF", "aiff"),
        (b"FORM\0\0\0\0AIFC", "aifc"),
        (b"\0\0\0\x18ftypM4A ", "mp4"),
        (b"caff\0\x01\0\0", "caf"),
        (b"fLaC\0\0\0\x22", "flac"),
        (b"OggS\0\x02", "ogg"),
        (b"\xff\xfb\x90\x64", "mp3"),
        (b"\xff\xf1\x50\x80", "adts"),
        (b"ID3\x04\0\0\0\0\0\x02xx\xff\xfb\x90\x64", "mp3"),
        (b"ID3\x04\0\0\0\0\0\x02xx\xff\xf1\x50\x80", "adts"),
        (b"ID3\x04\0\0\0\0\0\x02xxfLaC", "flac"),
        (b"ID3\x04\0\0\0\0\x01\x00" + bytes(100), "mp3"),
    ],
)
def test_containers_are_known_by_their_first_bytes(head: bytes, container: str) -> None:
    assert identified(head) == Content(container=container)


@pytest.mark.parametrize(
    "head",
    [
        b"\xff\xfb\xf0\x64",  # a bit rate that does not exist
        b"\xff\xfb\x9c\x64",  # a sample rate that does not exist
        b"\xff\xf1\x7c\x80",  # neither in AAC
        b"\xff\xfb",
    ],
)
def test_a_frame_header_must_make_sense(head: bytes) -> None:
    assert identified(head).container is None


def test_text_may_end_in_the_middle_of_a_character() -> None:
    assert identified(("grün " * 10).encode() + "가".encode()[:2]).is_called == "a text file"


def test_no_bytes_are_called_empty() -> None:
    assert identify(b"", size_bytes=0) == Content(is_called="empty")
