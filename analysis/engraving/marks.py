"""The words and signs around a line's staff: section, bar number, endings, jumps, words, fills, dynamics, tempo.

Tested by tests/analysis/engraving/test_pages.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from analysis.chart.beats import bar_quarters, from_bar_line
from analysis.chart.document import REPEAT_2, Bar, Section
from analysis.engraving.drawn import Box, Label, Piece, Shape, Sign, frame, rule
from analysis.engraving.fonts import BOLD, ITALIC, LEAST_TEXT_MM, REGULAR, label_width, sign_box, text_width
from analysis.engraving.layers import HITS
from analysis.engraving.lines import Cell, Line
from analysis.engraving.placing import Room, wrapped
from analysis.engraving.road_words import fill_words, jump_words
from analysis.engraving.staff import Staff
from analysis.engraving.tempo_mark import tempo_mark

# SMuFL code points.
_HEADS = ("E0A2", "E0A3", "E0A4")  # whole, half and black
_SEGNO, _CODA, _FERMATA, _TWO_BARS = "E047", "E048", "E4C0", "E501"
_DYNAMICS = {
    "ppp": "E52A", "pp": "E52B", "p": "E520", "mp": "E52C", "mf": "E52D", "f": "E522", "ff": "E52F", "fff": "E530",
    "fp": "E534", "sfz": "E539",
}  # fmt: skip
# Sizes in staff heights (house choices, read at arm's length of a music stand).
WORDS, NAME, LETTER, NUMBER = 0.46, 0.56, 0.62, 0.42
_ENDING = 0.4
_GAP = 0.12


def marked(line: Line, staff: Staff, *, height: float, width: float, number: str, count: str) -> Room:
    """The whole line: what the engraver drew, and everything around it. `width` is what the page has, `number` is
    printed at the line's beginning, `count` behind the name of the section that it begins."""
    room = Room(staff.pieces, height=height, width=width)
    marks = _Marks(line, staff, room, height, count)
    marks.on_staff()
    marks.above(number)
    marks.below()
    return room


class _Marks:
    def __init__(self, line: Line, staff: Staff, room: Room, height: float, count: str) -> None:
        self.line, self.staff, self.room, self.height, self.count = line, staff, room, height, count
        self.boxes = {one.first: one.box for one in staff.bars}

    def on_staff(self) -> None:
        """Signs that belong on the staff and that the engraver leaves to us."""
        for one, two in zip(self.line.cells, self.line.cells[1:], strict=False):
            if one.bar.shows == two.bar.shows == REPEAT_2 and self._begins_pair(one):
                self._two_bar_sign(one)
        first, last = self.line.cells[0], self.line.cells[-1]
        for layer in first.layers:
            if layer.values and not layer.values[0].first and not layer.values[0].is_rest:
                self._half_tie(first, layer.kind, layer.values[0].start, incoming=True)
        for layer in last.layers:
            if layer.ties_over:
                self._half_tie(last, layer.kind, layer.values[-1].start, incoming=False)

    def _begins_pair(self, cell: Cell) -> bool:
        index = self.line.cells.index(cell)
        before = 0
        while before < index and self.line.cells[index - before - 1].bar.shows == REPEAT_2:
            before += 1
        return before % 2 == 0

    def _two_bar_sign(self, cell: Cell) -> None:
        box = sign_box(_TWO_BARS)
        x = self.boxes[cell.number].right - (box.left + box.right) / 2 * self.height
        self.room.put(Sign(_TWO_BARS, x, self.height / 2, self.height, cell.number))
        two = Label("2", 0, 0, self._em(WORDS), BOLD, "words", cell.number)
        x = self.boxes[cell.number].right - label_width(two) / 2
        self.room.above([replace(two, x=x)], gap=_GAP * self.height)

    def _half_tie(self, cell: Cell, kind: str, start: Fraction, *, incoming: bool) -> None:
        """A tie that goes over the end of the line, under the note's head."""
        x = self._x(cell.number, start)
        space = self.height / 4
        y = self._head_y(cell.number, x, space) if kind == HITS else 2.0 * space
        y += 0.75 * space
        left, right = (
            (x - 1.6 * space, x) if incoming else (x + 1.1 * space, self.boxes[cell.number].right + 0.4 * space)
        )
        deep, thick = y + 0.6 * space, 0.18 * space
        third = (right - left) / 3
        steps = (
            ("moveTo", ((left, y),)),
            ("curveTo", ((left + third, deep), (right - third, deep), (right, y))),
            ("curveTo", ((right - third, deep + thick), (left + third, deep + thick), (left, y))),
            ("closePath", ()),
        )
        self.room.put(Shape(steps, None, cell.number))

    def _head_y(self, bar: int, x: float, space: float) -> float:
        """How high the hits of a bar lie: over written drums higher."""
        heads = (piece for piece in self.staff.pieces if isinstance(piece, Sign) and piece.code in _HEADS)
        near = [head.y for head in heads if head.bar == bar and abs(head.x - x) < space / 2]
        return min(near, default=-1.5 * space)

    def above(self, number: str) -> None:
        gap = _GAP * self.height
        first = self.line.cells[0].number
        self.room.above([self._label(number, 0.0, NUMBER, REGULAR, "number", first)], gap=gap)
        for cell in self.line.cells:
            for group in self._of_bar(cell):
                self.room.above(group, gap=gap)
        brackets = self._endings()
        if brackets:
            self.room.above(brackets, gap=gap)
        for cell in self.line.cells:
            for group in self._at_end(cell):
                self.room.above(group, gap=gap)
        for cell in self.line.cells:
            begin = self._begin(cell)
            if begin:
                self.room.above(begin, gap=1.5 * gap)

    def below(self) -> None:
        for cell in self.line.cells:
            for dynamic in cell.bar.dynamics:
                x = self._at(cell, dynamic.beat)
                self.room.below([self._dynamic(dynamic.level, x, cell.number)], gap=_GAP * self.height)

    def _dynamic(self, level: str, x: float, bar: int) -> Piece:
        if level in _DYNAMICS:
            return Sign(_DYNAMICS[level], x, 0.0, self.height, bar)
        return self._label(level, x, WORDS, ITALIC, "dynamic", bar)

    def _label(self, text: str, x: float, size: float, style: str, role: str, bar: int) -> Label:
        return Label(text, x, 0.0, self._em(size), style, role, bar)

    def _em(self, size: float) -> float:
        """A share of the staff's height, never too small to read."""
        return max(LEAST_TEXT_MM, size * self.height)

    def _of_bar(self, cell: Cell) -> Iterator[list[Piece]]:
        """What stands over beats, from the nearest to the staff outwards."""
        bar = cell.bar
        if bar.held is not None:
            yield [Sign(_FERMATA, self._at(cell, bar.held) - 0.1 * self.height, 0.0, self.height, cell.number)]
        for stop in bar.stops:
            yield self._words("stop", self._at(cell, stop.beat), ITALIC, "stop", cell.number)
        for fill in bar.fills:
            yield self._words(fill_words(fill, bar), self._at(cell, fill.beat), ITALIC, "fill", cell.number)
        for words in bar.words:
            text, style = (f"“{words.text}”", ITALIC) if words.cue else (words.text, REGULAR)
            if words.text:
                yield self._words(text, self._at(cell, words.beat), style, "cue" if words.cue else "words", cell.number)
        if bar.tempo:
            yield tempo_mark(bar.tempo, bar.meter, self._at(cell, Fraction(1)), self._em(WORDS), cell.number)

    def _words(self, text: str, x: float, style: str, role: str, bar: int) -> list[Piece]:
        label = self._label(text, x, WORDS, style, role, bar)
        return list(wrapped(label, max(self.room.width - x, self.room.width / 3)))

    def _endings(self) -> list[Piece]:
        """A bracket for each run of bars of one ending, open where it goes on or leads on; all at one height."""
        cells, found = self.line.cells, list[Piece]()
        at = 0
        while at < len(cells):
            end = at
            ending = cells[at].bar.road.ending
            while end + 1 < len(cells) and cells[end + 1].bar.road.ending == ending and not self._closes(cells[end]):
                end += 1
            if ending:
                found += self._bracket(cells[at], cells[end], ending)
            at = end + 1
        return found

    def _closes(self, cell: Cell) -> bool:
        return bool(cell.bars[-1].road.repeat_end)

    def _bracket(self, first: Cell, last: Cell, ending: tuple[int, ...]) -> list[Piece]:
        left, right = self.boxes[first.number].left + 0.3, self.boxes[last.number].right - 0.3
        deep, width = 0.5 * self.height, 0.03 * self.height
        text = ", ".join(f"{number}." for number in ending)
        pieces: list[Piece] = [
            rule(left, 0, right, 0, width, first.number),
            rule(left, 0, left, deep, width, first.number),
        ]
        if self._closes(last):
            pieces.append(rule(right, 0, right, deep, width, last.number))
        label = Label(
            text, left + 0.12 * self.height, 0.42 * self.height, self._em(_ENDING), BOLD, "ending", first.number
        )
        return [*pieces, label]

    def _begin(self, cell: Cell) -> list[Piece]:
        """Segno and coda over the bar line, and the section's name beside them."""
        pieces: list[Piece] = []
        x = self.boxes[cell.number].left
        for flag, sign in ((cell.bar.road.segno, _SEGNO), (cell.bar.road.coda, _CODA)):
            if flag:
                pieces.append(Sign(sign, x, 0.06 * self.height, 0.8 * self.height, cell.number))
                x += (sign_box(sign).right * 0.8 + 0.3) * self.height
        section = self.line.section if cell is self.line.cells[0] else None
        named = section and (section.letter or section.name)
        return pieces + (self._header(section, x, cell.number) if section and named else [])

    def _at_end(self, cell: Cell) -> Iterator[list[Piece]]:
        road, right = cell.bars[-1].road, self.boxes[cell.number].right
        if road.repeat_end > 2:
            yield self._ending_words(f"× {road.repeat_end}", right, cell.last)
        if road.fine:
            yield self._ending_words("Fine", right, cell.last)
        if road.to_coda:
            yield self._to_coda(right, cell.last)
        if road.jump:
            yield self._ending_words(jump_words(road.jump), right, cell.last)

    def _ending_words(self, text: str, right: float, bar: int) -> list[Piece]:
        width = text_width(text, BOLD, self._em(WORDS))
        return [self._label(text, right - width, WORDS, BOLD, "road", bar)]

    def _to_coda(self, right: float, bar: int) -> list[Piece]:
        em = 0.6 * self.height
        x = right - sign_box(_CODA).right * em
        words = self._ending_words("To Coda", x - 0.15 * self.height, bar)
        return [*words, Sign(_CODA, x, -0.02 * self.height, em, bar)]

    def _header(self, section: Section, x: float, bar: int) -> list[Piece]:
        """The boxed letter, the name and how many bars."""
        height = self.height
        pieces: list[Piece] = []
        count = self._label(self.count, x, WORDS, REGULAR, "count", bar)
        if section.letter:
            letter = Label(section.letter, x + 0.16 * height, 0.0, LETTER * height, BOLD, "letter", bar)
            right = x + label_width(letter) + 0.32 * height
            pieces += [letter, frame(Box(x, -0.6 * height, right, 0.16 * height), 0.04 * height)]
            x = right + 0.25 * height
        if section.name:
            name = Label(section.name, x, 0.0, NAME * height, BOLD, "section", bar)
            left = self.room.width - x - 0.25 * height - label_width(count)
            lines = wrapped(name, max(left, self.room.width / 3))
            pieces += lines
            x += label_width(lines[-1]) + 0.25 * height
        return [*pieces, replace(count, x=x)]

    def _at(self, cell: Cell, beat: Fraction) -> float:
        return self._x(cell.number, from_bar_line(beat, cell.bar.meter), cell.bar)

    def _x(self, number: int, start: Fraction, bar: Bar | None = None) -> float:
        """Where a place in a bar is printed: at what begins there, else between its neighbours."""
        places = self.staff.places.get(number, {})
        if start in places:
            return places[start]
        box = self.boxes[number]
        whole = bar_quarters(bar.meter) if bar else Fraction(4)
        lead = box.left + min(0.6 * self.height, 0.2 * (box.right - box.left))
        known = sorted({Fraction(0): places.get(Fraction(0), lead), whole: box.right, **places}.items())
        before = max((item for item in known if item[0] <= start), default=known[0])
        after = min((item for item in known if item[0] > start), default=known[-1])
        share = float((start - before[0]) / (after[0] - before[0])) if after[0] > before[0] else 0.0
        return before[1] + share * (after[1] - before[1])
