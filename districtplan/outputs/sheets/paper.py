"""Pages of paper in black on white: text, names in boxes, lines, in millimetres from the top left.

Words of the catalogue are set letter by letter; a name from outside goes through
:meth:`Paper.name`, which shapes it (joined letters, marks, right to left) and keeps it in its box.
"""

from __future__ import annotations

import functools
import io
from datetime import UTC, datetime, time
from importlib import resources
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, NamedTuple

import uharfbuzz
from fpdf import FPDF
from fpdf.fonts import TTFFont

from districtplan.outputs.sheets.names import ELLIPSIS, Ink, fitted, is_plain

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    import numpy as np
    from numpy.typing import NDArray

WIDTH_MM, HEIGHT_MM = 210.0, 297.0
MARGIN_MM = 11.0
TEXT_PT = 11.0
"""Smallest type: read at arm's length by a person who reads slowly."""

MM_PER_PT = 25.4 / 72
LEADING = 1.2
"""Height of a line over the size of its type."""

ASCENT = 0.95
"""Height of the line of writing below the top of its box, over the size of the type."""

SLACK_MM = 0.45
"""Room above and below a line that no other line takes."""

KEPT_MAX = 20_000
"""Texts whose widths and lines are kept: the same sentences stand on sheet after sheet."""

WHOLE, LATIN = "whole", "latin"
FILES = {
    (WHOLE, ""): "DejaVuSansCondensed.ttf",
    (WHOLE, "B"): "DejaVuSansCondensed-Bold.ttf",
    (LATIN, ""): "DejaVuSansCondensed-Latin.ttf",
    (LATIN, "B"): "DejaVuSansCondensed-Bold-Latin.ttf",
}
"""The typeface, and its Latin letters alone: a tenth of it, and nearly all that is ever printed. To
read the whole of it takes longer than to draw a page."""

Align = Literal["left", "centre", "right"]


class Box(NamedTuple):
    """A rectangle on the page.

    Attributes
    ----------
    x : float
        Left edge [mm].
    y : float
        Upper edge [mm].
    width : float
        Width [mm].
    height : float
        Height [mm].
    """

    x: float
    y: float
    width: float
    height: float


class Face(NamedTuple):
    """One cut of the typeface, as it is measured.

    Attributes
    ----------
    font : uharfbuzz.Font
        Shapes text.
    per_em : int
        Units in the size of the type.
    wide : Mapping[int, float]
        Advance of each code point that it has, over the size of the type.
    """

    font: uharfbuzz.Font
    per_em: int
    wide: Mapping[int, float]


class Setting(NamedTuple):
    """How text is set.

    Attributes
    ----------
    pt : float
        Size of the type [points].
    bold : bool
        Whether it is bold.
    align : str
        left, centre or right.
    """

    pt: float = TEXT_PT
    bold: bool = False
    align: Align = "left"

    @property
    def line_mm(self) -> float:
        """Height of a line.

        Returns
        -------
        float
            Height [mm].
        """
        return self.pt * MM_PER_PT * LEADING


PLAIN = Setting()
BOLD = Setting(bold=True)


class Paper:
    """A PDF of A4 pages.

    Parameters
    ----------
    title : str
        Title of the file.
    written : datetime.date
        Day that the file says it was written: the plan's, or no two runs would be equal.
    language : str
        Language of its words (BCP 47).
    """

    def __init__(self, title: str, written: date, language: str) -> None:
        self.pdf = FPDF(format="A4")
        self.pdf.set_auto_page_break(auto=False)
        self.pdf.set_margins(0, 0, 0)
        self.pdf.c_margin = 0
        self.pdf.set_creation_date(datetime.combine(written, time(), UTC))
        self.pdf.set_producer("districtplan")
        self.pdf.set_title(title)
        self.pdf.set_lang(language)
        self.names: list[str] = []
        """Names that had to be shortened, as printed."""

    def _add_font(self, family: str, style: str) -> None:
        self.pdf.add_font(family, style, _path(family, style))
        font = self.pdf.fonts[family + style]
        if isinstance(font, TTFFont) and (reader := font.ttfont.reader) is not None:
            # Held in memory: the library leaves its file open for as long as it lives.
            with reader.file as opened:
                opened.seek(0)
                reader.file = io.BytesIO(opened.read())

    def page(self) -> None:
        """Start a page."""
        self.pdf.add_page()
        self.pdf.set_line_width(0.3)

    def finish(self) -> bytes:
        """Write the file.

        Returns
        -------
        bytes
            The PDF.
        """
        return bytes(self.pdf.output())

    def width(self, text: str, setting: Setting = PLAIN) -> float:
        """Measure words of the catalogue.

        Parameters
        ----------
        text : str
            The text, on one line.
        setting : Setting, default PLAIN
            How it is set.

        Returns
        -------
        float
            Its width [mm].
        """
        return _ems(text, "B" if setting.bold else "") * setting.pt * MM_PER_PT

    def wrapped(self, text: str, width: float, setting: Setting = PLAIN) -> list[str]:
        """Break words of the catalogue into lines.

        Parameters
        ----------
        text : str
            The text.
        width : float
            Room for a line [mm].
        setting : Setting, default PLAIN
            How it is set.

        Returns
        -------
        list[str]
            Its lines; a single word that is wider than a line stands on one of its own.
        """
        style = "B" if setting.bold else ""
        room = width / (setting.pt * MM_PER_PT)
        return list(_broken(text, room, style))

    def height(self, text: str, width: float, setting: Setting = PLAIN) -> float:
        """Measure how high a text is when it is broken into lines.

        Parameters
        ----------
        text : str
            The text.
        width : float
            Room for a line [mm].
        setting : Setting, default PLAIN
            How it is set.

        Returns
        -------
        float
            Its height [mm].
        """
        return len(self.wrapped(text, width, setting)) * setting.line_mm

    def write(self, text: str, x: float, y: float, setting: Setting = PLAIN) -> None:
        """Write words of the catalogue on one line.

        Parameters
        ----------
        text : str
            The text.
        x : float
            Its left end, middle or right end, by the setting's alignment [mm].
        y : float
            Top of its line [mm].
        setting : Setting, default PLAIN
            How it is set.
        """
        share = {"left": 0.0, "centre": 0.5, "right": 1.0}[setting.align]
        if share:
            x -= share * self.width(text, setting)
        self._type(setting, text)
        self.pdf.text(x, y + ASCENT * setting.pt * MM_PER_PT, text)

    def block(self, text: str, box: Box, setting: Setting = PLAIN) -> float:
        """Write words of the catalogue over as many lines as they need.

        Parameters
        ----------
        text : str
            The text.
        box : Box
            Where; its height isn't looked at.
        setting : Setting, default PLAIN
            How it is set.

        Returns
        -------
        float
            Top of the line after the last [mm].
        """
        share = {"left": 0.0, "centre": 0.5, "right": 1.0}[setting.align]
        y = box.y
        for line in self.wrapped(text, box.width, setting):
            self.write(line, box.x + share * box.width, y, setting)
            y += setting.line_mm
        return y

    def name(self, name: str, box: Box, setting: Setting, least_pt: float = TEXT_PT) -> str:
        """Write a name from outside, smaller if it must be, shortened if it still doesn't fit.

        Parameters
        ----------
        name : str
            The name, as given.
        box : Box
            Where it must stay.
        setting : Setting
            How it is set; its size is the largest that is tried.
        least_pt : float, default TEXT_PT
            Smallest size that is tried [points].

        Returns
        -------
        str
            What was printed.
        """
        cut = face("B" if setting.bold else "")
        shown = name
        for pt in (setting.pt, (setting.pt + least_pt) / 2, least_pt):
            setting = setting._replace(pt=pt)
            size = pt * MM_PER_PT / cut.per_em
            base = _base(box, pt)
            room = Ink(box.width / size, base / size, (box.height - base) / size)
            shown = fitted(name, cut.wide, functools.partial(ink, cut), room)
            if not shown.endswith(ELLIPSIS):
                break
        if shown != name:
            self.names.append(shown)
        self._set_name(shown, box, setting)
        return shown

    def _set_name(self, text: str, box: Box, setting: Setting) -> None:
        size = setting.pt * MM_PER_PT
        cut = face("B" if setting.bold else "")
        reach = ink(cut, text)
        share = {"left": 0.0, "centre": 0.5, "right": 1.0}[setting.align]
        x = box.x + share * (box.width - reach.width * size / cut.per_em)
        x += reach.before * size / cut.per_em
        y = box.y + _base(box, setting.pt)
        self._type(setting, text)
        if is_plain(text):
            self.pdf.text(x, y, text)
            return
        self.pdf.set_text_shaping(use_shaping_engine=True)
        try:
            # A cell sets its line of writing at half its height and 0.3 of the size below.
            self.pdf.set_xy(x, y - 0.3 * size)
            self.pdf.cell(w=self.pdf.get_string_width(text), h=0, text=text)
        finally:
            self.pdf.set_text_shaping(use_shaping_engine=False)

    def _type(self, setting: Setting, text: str) -> None:
        style = "B" if setting.bold else ""
        family = LATIN if _is_latin(text) else WHOLE
        if family + style not in self.pdf.fonts:
            self._add_font(family, style)
        self.pdf.set_font(family, style, setting.pt)

    def line(self, points: Sequence[Sequence[float]] | NDArray[np.float64], width: float) -> None:
        """Draw a line.

        Parameters
        ----------
        points : sequence of pairs, or numpy.ndarray
            Its points, shape (points, 2) [mm].
        width : float
            Its breadth [mm].
        """
        self.pdf.set_line_width(width)
        self.pdf.polyline([(float(x), float(y)) for x, y in points])

    def fill(self, points: Sequence[Sequence[float]], grey: int = 0) -> None:
        """Fill a polygon.

        Parameters
        ----------
        points : sequence of pairs
            Its corners [mm].
        grey : int, default 0
            Its brightness, 0 black to 255 white.
        """
        self.pdf.set_fill_color(grey)
        self.pdf.polygon([(float(x), float(y)) for x, y in points], style="F")

    def frame(self, box: Box, width: float = 0.4) -> None:
        """Draw the edge of a box.

        Parameters
        ----------
        box : Box
            The box.
        width : float, default 0.4
            Breadth of the line [mm].
        """
        self.pdf.set_line_width(width)
        self.pdf.rect(*box)

    def disc(self, x: float, y: float, radius: float, *, full: bool = False) -> None:
        """Draw a circle on white, or a black dot.

        Parameters
        ----------
        x : float
            Its middle [mm].
        y : float
            Its middle [mm].
        radius : float
            Its radius [mm].
        full : bool, default False
            Whether it is black.
        """
        self.pdf.set_line_width(0.4)
        self.pdf.set_fill_color(0 if full else 255)
        self.pdf.circle(x, y, radius, style="DF")

    def dashes(self, on: float = 0, off: float = 0) -> None:
        """Dash the lines that follow; without lengths, no longer.

        Parameters
        ----------
        on : float, default 0
            Length of a dash [mm].
        off : float, default 0
            Length of a gap [mm].
        """
        self.pdf.set_dash_pattern(on, off)


def line_box(x: float, y: float, width: float) -> Box:
    """Give a name the room of a line of text, and what lies between lines.

    Parameters
    ----------
    x : float
        Left edge [mm].
    y : float
        Top of the line [mm].
    width : float
        Width [mm].

    Returns
    -------
    Box
        A box in which a name stands on the line of its neighbours.
    """
    return Box(x, y - SLACK_MM, width, PLAIN.line_mm + 2 * SLACK_MM)


def ink(cut: Face, text: str) -> Ink:
    """Measure how far a shaped text reaches, in the font's units.

    Parameters
    ----------
    cut : Face
        The cut of the typeface.
    text : str
        The text.

    Returns
    -------
    Ink
        Its advance, or its ink if that goes further; its ink above and below the line, and what
        hangs out before its start.
    """
    if not text:
        return Ink(0, 0, 0)
    buffer = uharfbuzz.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    uharfbuzz.shape(cut.font, buffer)
    advance, start, side, above, below = 0.0, 0.0, 0.0, 0.0, 0.0
    for info, place in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        extents = cut.font.get_glyph_extents(info.codepoint)
        if extents is not None:
            top = place.y_offset + extents.y_bearing
            above = max(above, top)
            below = max(below, -(top + extents.height))
            left = advance + place.x_offset + extents.x_bearing
            start, side = min(start, left), max(side, left + extents.width)
        advance += place.x_advance
    return Ink(max(advance, side) - start, above, below, -start)


@functools.cache
def face(style: str) -> Face:
    """Load a cut of the typeface for measuring.

    Parameters
    ----------
    style : str
        ``B`` for bold, else empty.

    Returns
    -------
    Face
        The cut.
    """
    loaded = uharfbuzz.Face(uharfbuzz.Blob.from_file_path(_path(WHOLE, style)))
    font, per_em = uharfbuzz.Font(loaded), loaded.upem
    wide = {
        code: font.get_glyph_h_advance(font.get_nominal_glyph(code)) / per_em
        for code in loaded.unicodes
    }
    return Face(font, per_em, MappingProxyType(wide))


@functools.cache
def _latin() -> frozenset[int]:
    """List code points of the Latin files; both have the same, and no sign that needs shaping."""
    return frozenset(uharfbuzz.Face(uharfbuzz.Blob.from_file_path(_path(LATIN, ""))).unicodes)


@functools.lru_cache(maxsize=KEPT_MAX)
def _is_latin(text: str) -> bool:
    return _latin().issuperset(map(ord, text))


@functools.lru_cache(maxsize=KEPT_MAX)
def _ems(text: str, style: str) -> float:
    """Measure a text over the size of its type."""
    wide = face(style).wide
    return sum(wide[ord(sign)] for sign in text)


@functools.lru_cache(maxsize=KEPT_MAX)
def _broken(text: str, room: float, style: str) -> tuple[str, ...]:
    """Break a text into lines that fit a room, both over the size of the type."""
    lines: list[list[str]] = []
    space, used = _ems(" ", style), 0.0
    for word in text.split(" "):
        wide = _ems(word, style)
        if lines and used + space + wide <= room:
            lines[-1].append(word)
            used += space + wide
        else:
            lines.append([word])
            used = wide
    return tuple(" ".join(line) for line in lines)


def _base(box: Box, pt: float) -> float:
    """Put the line of writing where a line of that size in the middle of the box has it."""
    return (box.height - LEADING * pt * MM_PER_PT) / 2 + ASCENT * pt * MM_PER_PT


def _path(family: str, style: str) -> str:
    return str(
        resources.files("districtplan.outputs.sheets").joinpath("fonts", FILES[family, style])
    )
