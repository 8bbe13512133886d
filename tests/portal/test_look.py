"""The look's colours: every pair that is used together can be told apart. Source: WCAG 2.2, SC 1.4.3 and 1.4.11."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings

CSS = Path(settings.BASE_DIR) / "portal" / "static" / "css"
TOKENS = (CSS / "tokens.css").read_text()
SHEETS = {path.name: path.read_text() for path in sorted(CSS.glob("*.css")) if path.name != "tokens.css"}

LEAST_FOR_TEXT = 4.5
LEAST_FOR_MARKS = 3.0

# Text on its ground. A rule that names a colour and a ground together must be here.
TEXT_PAIRS = [
    *[(text, ground) for text in ("ink", "soft", "accent") for ground in ("paper", "sheet", "inset", "wash")],
    ("on-accent", "accent"),
    ("on-ink", "ink"),
]
# Borders of fields and buttons, rings of focus, marks and the drawn sound, on what they lie on.
MARK_PAIRS = [
    *[(mark, ground) for mark in ("edge", "accent", "ink") for ground in ("paper", "sheet", "inset")],
    ("edge", "wash"),
    ("wave", "inset"),
    ("wave", "wash"),
    ("on-accent", "accent"),
]


def tokens_of(selector: str) -> dict[str, str]:
    block = re.search(re.escape(selector) + r"\s*\{(.*?)\n\}", TOKENS, re.DOTALL)
    assert block is not None
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6});", block[1]))


DESK = tokens_of(":root")
PLACES = {"desk": DESK, "kit": DESK | tokens_of('[data-place="kit"]')}


def luminance(colour: str) -> float:
    """Relative luminance of #rrggbb. Source: WCAG 2.2, definition of relative luminance."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in channels]
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def rules_of(css: str) -> Iterator[tuple[str, str]]:
    plain = re.sub(r"/\*.*?\*/", "", css, flags=re.DOTALL)
    yield from ((selector.strip(), body) for selector, body in re.findall(r"([^{}]+)\{([^{}]*)\}", plain))


@pytest.mark.parametrize(
    ("grey", "ratio"), [("#767676", 4.54), ("#777777", 4.48), ("#949494", 3.03), ("#959595", 2.995), ("#000000", 21.0)]
)
def test_contrast_is_the_standards(grey: str, ratio: float) -> None:
    assert contrast(grey, "#ffffff") == pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(("text", "ground"), TEXT_PAIRS)
def test_text_can_be_read(place: str, text: str, ground: str) -> None:
    tokens = PLACES[place]

    assert contrast(tokens[text], tokens[ground]) >= LEAST_FOR_TEXT


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(("mark", "ground"), MARK_PAIRS)
def test_marks_can_be_told_from_their_ground(place: str, mark: str, ground: str) -> None:
    tokens = PLACES[place]

    assert contrast(tokens[mark], tokens[ground]) >= LEAST_FOR_MARKS


def test_the_dark_room_changes_every_colour() -> None:
    assert tokens_of('[data-place="kit"]').keys() == DESK.keys()


@pytest.mark.parametrize("sheet", SHEETS)
def test_colours_live_in_the_tokens_alone(sheet: str) -> None:
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b|\b(?:rgb|hsl|oklch|lab)a?\(", SHEETS[sheet]) == []


@pytest.mark.parametrize("sheet", SHEETS)
def test_every_token_named_is_declared(sheet: str) -> None:
    """Among the tokens or in the sheet itself; one that a script sets has another value for the time before."""
    declared = set(re.findall(r"--([\w-]+):", TOKENS + SHEETS[sheet]))

    assert set(re.findall(r"var\(--([\w-]+)\)", SHEETS[sheet])) - declared == set()


@pytest.mark.parametrize("sheet", SHEETS)
def test_every_colour_on_a_ground_is_a_pair_that_was_checked(sheet: str) -> None:
    for selector, body in rules_of(SHEETS[sheet]):
        text = re.search(r"(?<![\w-])color:\s*var\(--([\w-]+)\)", body)
        ground = re.search(r"background:\s*var\(--([\w-]+)\)\s*(?:;|$|\S)", body)
        if text and ground:
            assert (text[1], ground[1]) in TEXT_PAIRS, selector


def test_no_face_comes_from_elsewhere() -> None:
    addresses = re.findall(r'url\("?([^")]+)', TOKENS + "".join(SHEETS.values()))

    assert addresses
    assert [address for address in addresses if not (CSS / address).resolve().is_file()] == []


def test_focus_is_drawn_and_never_taken_away_from_a_control() -> None:
    undrawn = [selector for _, css in SHEETS.items() for selector, body in rules_of(css) if "outline: none" in body]

    assert any(":focus-visible" in selector for selector, _ in rules_of(SHEETS["page.css"]))
    # The page's landing place alone.
    assert undrawn == ["main:focus"]
