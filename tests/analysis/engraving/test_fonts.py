import pytest

from analysis.engraving.drawn import Label, Shape, Sign
from analysis.engraving.fonts import box_of, composed, font_path, letter_steps, not_covered, runs, sign_box, text_width

KOREAN, ITALIAN = "젖은 계단 옆 주전자 뷁", "Però là più giù, perché è così"


@pytest.mark.parametrize(
    "text", [KOREAN, ITALIAN, "Zażółć gęślą jaźń", "Ünïcödé ßøåæœ", "Привет", "Ωμέγα", "かな 漢字", "“”’–—…×"]
)
def test_covered(text: str) -> None:
    assert not_covered(text) == ""
    for font, part in runs(text, "regular"):
        assert all(letter_steps(font, character)[0] for character in part if not character.isspace())


def test_what_is_not_covered_is_named() -> None:
    # Arabic and Hebrew are written from right to left; neither font has them.
    assert set(not_covered("ok سلام שלום 🥁")) == set("سلامשלום🥁")


def test_korean_comes_from_its_own_font_and_accents_are_joined() -> None:
    assert [font for font, _ in runs("A 젖", "bold")] == ["bold", "korean"]
    assert composed("e\u0300") == "è"
    assert not_covered("Pero\u0300") == ""


def test_fonts_lie_in_their_packages() -> None:
    for font in ("regular", "bold", "italic", "korean"):
        assert font_path(font).is_file()


def test_a_width_grows_with_its_text_and_size() -> None:
    assert text_width("WW", "bold", 10.0) == pytest.approx(2 * text_width("W", "bold", 10.0))
    assert text_width("W", "bold", 20.0) == pytest.approx(2 * text_width("W", "bold", 10.0))
    # All of Hangul is one em less the font's side bearings wide: 0.92 in Noto Sans KR.
    assert text_width("젖", "regular", 10.0) == pytest.approx(9.2, abs=0.05)


def test_boxes_of_pieces() -> None:
    # SMuFL: a black note head is 1.18 spaces wide and one high; an em is four spaces.
    head = sign_box("E0A4")
    assert head.right - head.left == pytest.approx(1.18 / 4, abs=0.005)
    box = box_of(Sign("E0A4", 10.0, 20.0, 8.0))
    assert [box.top, box.bottom] == pytest.approx([19.0, 21.0], abs=0.02)
    line = box_of(Shape((("moveTo", ((0.0, 0.0),)), ("lineTo", ((10.0, 0.0),))), 1.0))
    assert (line.top, line.bottom) == (-0.5, 0.5)
    letters = box_of(Label("Ág", 1.0, 10.0, 10.0))
    assert [letters.left, letters.top, letters.bottom] == pytest.approx([1.0, 1.4, 12.2])
