"""A delivery's sheet as a PDF on A4 (ISO 216). The same sheet gives the same bytes."""

from __future__ import annotations

import datetime as dt
import io
import re
from collections.abc import Iterator, Sequence

from fpdf import FPDF
from fpdf.enums import TableBordersLayout
from fpdf.fonts import FontFace

from analysis.engraving import fonts
from analysis.handover.sheet import Sheet, SheetTrack
from analysis.handover.sheet_lines import (
    channel_words,
    figure_of,
    in_print,
    moment_in_words,
    passed_rows,
    rank_of,
    tempo_lines,
)
from analysis.maps.tempo_map import TempoMap

_MARGIN_MM, _TEXT_PT, _SMALL_PT, _HEAD_PT, _TITLE_PT = 16, 9, 7.5, 11, 20
_LINE_MM, _PICTURE_MM, _PADDING_MM = 4.6, 85, 0.6
# A heading keeps some rows of its table with it.
_HEADING_NEEDS_MM = 60
_NOT_STATED = "not stated"
_RULES = "#b8b8b8"
# A PDF must say when it was made; the same sheet gives the same file.
_DATE = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)
_TRACK_COLUMNS = ("Track", "Channel", "Microphone", "Polarity", "Take", "Note")
_TRACK_WIDTHS = (32, 20, 22, 13, 8, 21)

Row = tuple[str, ...]


def pdf_of_sheet(sheet: Sheet, pictures: Sequence[bytes] = ()) -> bytes:
    """`pictures`: JPEG files of ours, as `analysis.media.pictures` writes them."""
    pdf = _Pages(unit="mm", format="A4")
    pdf.begin(sheet)
    pdf.facts(_facts(sheet))
    pdf.rows("Tracks", _TRACK_COLUMNS, [_track_row(track) for track in sheet.tracks], _TRACK_WIDTHS)
    if sheet.map:
        rates_hz = {track.sample_rate_hz for track in sheet.tracks}
        pdf.lines("Tempo map", tempo_lines(TempoMap.from_json(sheet.map), rates_hz))
    pdf.lines("Corrected before delivery, without a change to the sound", sheet.repairs)
    pdf.lines("Note", [sheet.note] if sheet.note else ())
    pdf.lines("For the next time", [sheet.recall] if sheet.recall else ())
    pdf.rows("Checks", ("Result", "Of", "What was found", "Figure"), list(_open_checks(sheet)), (12, 24, 60, 18))
    names = [track.file for track in sheet.tracks]
    passed = [(row.words, row.figure) for row in passed_rows(sheet.checks, names)]
    pdf.rows("Checks that passed", ("What was found", "Figure"), passed, (80, 34), small=True)
    hashes = [(track.file, track.sha256) for track in sheet.tracks]
    pdf.rows("SHA-256", ("File", "Hash"), hashes, (34, 82), small=True)
    pdf.pictures(pictures)
    return bytes(pdf.output())


def _facts(sheet: Sheet) -> Iterator[Row]:
    first = sheet.tracks[0] if sheet.tracks else None
    rates = sorted({track.sample_rate_hz for track in sheet.tracks})
    depths = sorted({track.bit_depth or 0 for track in sheet.tracks})
    lengths = sorted({track.frames for track in sheet.tracks})
    yield "Booking", sheet.booking
    yield "Delivery", f"{sheet.number}" if sheet.number else ""
    yield "Recorded and delivered by", sheet.made_by
    yield "Released", moment_in_words(sheet.made_at) or "not yet"
    yield "Checked", moment_in_words(sheet.checked_at) or "not yet"
    if first:
        yield "Sample rate", ", ".join(f"{rate} Hz" for rate in rates)
        yield "Bit depth", ", ".join(f"{depth} bit" for depth in depths if depth) or _NOT_STATED
        yield "Length", ", ".join(f"{frames} frames" for frames in lengths)
    yield "The files begin", sheet.begins
    yield "Left and right", sheet.perspective or _NOT_STATED


def _track_row(track: SheetTrack) -> Row:
    channel = ", ".join(part for part in (track.channel, channel_words(track.channels)) if part)
    return track.file, channel, track.microphone, track.polarity, track.take, track.note


def _open_checks(sheet: Sheet) -> Iterator[Row]:
    """Failures first, each with why it was waived; then what could not be decided."""
    names = [track.file for track in sheet.tracks]
    reasons = {(one.code, one.file or None): f" {one.by}: {one.reason}" for one in sheet.let_pass}
    for check in sorted(sheet.checks, key=lambda check: (check.passed, rank_of(check.code))):
        if check.passed and not check.undecided:
            continue
        reason = "" if check.passed else reasons.get((check.code, check.file), "")
        result = "undecided" if check.passed else "waived" if reason else "failed"
        of = "the pair" if check.code == "sides" and check.file else check.file or "the set"
        yield result, of, in_print(check.message, names) + reason, figure_of(check)


class _Pages(FPDF):
    """Headings, lists and tables, one below the other."""

    def begin(self, sheet: Sheet) -> None:
        self.set_creation_date(_DATE)
        self.set_producer("")
        self.set_title(f"Delivery sheet: {sheet.title}")
        self.set_margin(_MARGIN_MM)
        self.set_auto_page_break(auto=True, margin=_MARGIN_MM)
        self.add_font("words", "", fonts.font_path(fonts.REGULAR))
        self.add_font("words", "B", fonts.font_path(fonts.BOLD))
        if _needs_more_letters(sheet):
            self.add_font("more", "", fonts.font_path("korean"))
            self.set_fallback_fonts(["more"], exact_match=False)
        self.add_page()
        self.set_draw_color(_RULES)
        self.set_font("words", "B", _TITLE_PT)
        self.multi_cell(0, 9, sheet.title or "Delivery sheet", new_x="LMARGIN", new_y="NEXT")
        self.set_font("words", "", _TEXT_PT)
        self.cell(0, _LINE_MM, "Delivery sheet", new_x="LMARGIN", new_y="NEXT")

    def footer(self) -> None:
        self.set_y(-_MARGIN_MM + 4)
        self.set_font("words", "", _SMALL_PT)
        self.cell(0, _LINE_MM, f"{self.page_no()}", align="R")

    def facts(self, facts: Iterator[Row]) -> None:
        self.ln(2)
        for name, value in facts:
            if value:
                self.set_font("words", "", _TEXT_PT)
                self.cell(50, _LINE_MM, name)
                self.multi_cell(0, _LINE_MM, value, new_x="LMARGIN", new_y="NEXT")

    def heading(self, text: str) -> None:
        if self.get_y() > self.h - _HEADING_NEEDS_MM:
            self.add_page()
        self.ln(4)
        self.set_font("words", "B", _HEAD_PT)
        self.cell(0, 7, text, new_x="LMARGIN", new_y="NEXT")
        self.set_font("words", "", _TEXT_PT)

    def lines(self, heading: str, lines: Sequence[str]) -> None:
        if lines:
            self.heading(heading)
            for line in lines:
                self.multi_cell(0, _LINE_MM, line, new_x="LMARGIN", new_y="NEXT")

    def rows(
        self, heading: str, columns: Row, rows: Sequence[Row], widths: tuple[int, ...], *, small: bool = False
    ) -> None:
        if not rows:
            return
        self.heading(heading)
        self.set_font("words", "", _SMALL_PT if small else _TEXT_PT - 1)
        with self.table(
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            col_widths=widths,
            headings_style=FontFace(emphasis="BOLD"),
            line_height=_LINE_MM - 0.4,
            text_align="LEFT",
            padding=_PADDING_MM,
        ) as table:
            mm = self.epw / sum(widths)
            for row in (columns, *rows):
                cells = zip(row, widths, strict=True)
                table.row([self._fitted(cell, width * mm - 2 * _PADDING_MM) for cell, width in cells])

    def _fitted(self, text: str, width_mm: float) -> str:
        """With the names that are wider than a cell broken where their parts begin, and not in the middle of one."""
        return " ".join(self._fitted_name(name, width_mm) for name in text.split(" "))

    def _fitted_name(self, name: str, width_mm: float) -> str:
        lines = [""]
        for part in re.split(r"(?<=[_.-])", name):
            if lines[-1] and self.get_string_width(lines[-1] + part) > width_mm:
                lines.append("")
            lines[-1] += part
        return "\n".join(lines)

    def pictures(self, pictures: Sequence[bytes]) -> None:
        if not pictures:
            return
        self.add_page()
        self.heading("The kit")
        for picture in pictures:
            self.image(io.BytesIO(picture), w=self.epw, h=_PICTURE_MM * 1.3, keep_aspect_ratio=True)
            self.ln(4)


def _needs_more_letters(sheet: Sheet) -> bool:
    """Whether the font of the words lacks one: the other is ten times as large, and slow to take apart."""
    words = [sheet.title, sheet.booking, sheet.made_by, sheet.note, sheet.recall, *sheet.repairs]
    words += [part for track in sheet.tracks for part in (track.file, track.microphone, track.note, track.take)]
    words += [part for one in sheet.let_pass for part in (one.by, one.reason)]
    return any(font == "korean" for font, _ in fonts.runs("".join(words), fonts.REGULAR))
