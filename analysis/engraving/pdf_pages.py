"""Drawn pages as a PDF: words as text in embedded fonts, music as outlines. The same pages give the same bytes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from fpdf import FPDF
from fpdf.drawing import PaintedPath
from fpdf.enums import PathPaintRule, TextMode

from analysis.engraving.drawn import DrawnPage, Label, Piece, Shape, Sign, Steps
from analysis.engraving.fonts import font_path, outline_width, runs, sign_steps, text_width

_MM_PER_POINT = 25.4 / 72
# A PDF must say when it was made; the same chart gives the same file.
_DATE = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)


def pdf_bytes(pages: Sequence[DrawnPage], *, title: str, ink: str = "#000000", paper: str | None = None) -> bytes:
    """`ink` and `paper` are colours of ours; without `paper` nothing is drawn under the ink."""
    pdf = FPDF(unit="mm", format=(pages[0].width, pages[0].height))
    pdf.set_auto_page_break(auto=False)
    pdf.set_creation_date(_DATE)
    pdf.set_title(title)
    pdf.set_producer("")
    fonts: set[str] = set()
    for page in pages:
        pdf.add_page()
        if paper:
            pdf.set_fill_color(paper)
            pdf.rect(0, 0, page.width, page.height, style="F")
        with pdf.drawing_context() as context:
            for piece in page.pieces:
                if not isinstance(piece, Label):
                    context.add_item(_outline(piece, ink), clone=False)
        pdf.set_text_color(ink)
        for piece in page.pieces:
            if isinstance(piece, Label):
                _write(pdf, piece, fonts, ink)
    return bytes(pdf.output())


def _outline(piece: Piece, ink: str) -> PaintedPath:
    path = PaintedPath()
    if isinstance(piece, Sign):
        _draw(path, sign_steps(piece.code), piece.em, piece.x, piece.y)
    elif isinstance(piece, Shape):
        _draw(path, piece.steps, 1.0, 0.0, 0.0)
    width = piece.width if isinstance(piece, Shape) else None
    path.style.auto_close = False
    if width is None:
        path.style.fill_color, path.style.stroke_color = ink, None
        path.style.paint_rule = PathPaintRule.FILL_NONZERO
    else:
        path.style.fill_color, path.style.stroke_color, path.style.stroke_width = None, ink, width
        path.style.paint_rule = PathPaintRule.STROKE
    return path


def _draw(path: PaintedPath, steps: Steps, scale: float, x: float, y: float) -> None:
    for name, points in steps:
        numbers = [value for px, py in points for value in (x + px * scale, y + py * scale)]
        if name == "moveTo":
            path.move_to(*numbers)
        elif name == "lineTo":
            path.line_to(*numbers)
        elif name == "curveTo":
            path.curve_to(*numbers)
        else:
            path.close()


def _write(pdf: FPDF, label: Label, fonts: set[str], ink: str) -> None:
    x = label.x
    for font, part in runs(label.text, label.style):
        if font not in fonts:
            pdf.add_font(font, fname=font_path(font))
            fonts.add(font)
        pdf.set_font(font, size=label.size / _MM_PER_POINT)
        width = outline_width(font, label.style) * label.size
        mode = TextMode.FILL_STROKE if width else TextMode.FILL
        with pdf.local_context(text_mode=mode, line_width=width or pdf.line_width, draw_color=ink):
            pdf.text(x, label.y, part)
        x += text_width(part, label.style, label.size)
