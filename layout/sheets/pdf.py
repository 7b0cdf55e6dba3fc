"""Writes figures as the pages of one PDF whose lettering can be searched.

Lines and fills are the plotting library's. Lettering is placed here, sign after sign by the advances that
``lettering.py`` measured, in fonts that the file holds once for all pages: the library's own way lays each text out
and loads each of its letters anew, which took three quarters of the time of a sheet.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from layout.plane import Array
from layout.sheets.glyphs import glyph
from layout.sheets.lettering import CAPITAL, Lettering, advance
from layout.sheets.marks import Text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_SIZE = 1000
"""Glyph units to a size of 1."""
_MOST = 255
"""Signs to a font: a sign is one byte in the file, and none is 0."""


def write_pages(figures: Iterable[Figure], path: Path, *, title: str) -> None:
    """Write figures to a PDF, a page each in the size of its paper; no dates, so that the same gives the same bytes."""
    from matplotlib.backends.backend_pdf import PdfFile, RendererPdf

    class Lettered(PdfFile):
        """A PDF file with typefaces of its own in place of the library's."""

        def __init__(self) -> None:
            metadata = {"Title": title, "CreationDate": None, "Creator": None, "Producer": None}
            super().__init__(path, metadata=metadata)
            self.typefaces = Typefaces()

        def writeFonts(self) -> None:  # noqa: N802 - the library's name
            self.typefaces.write(self)

    file = Lettered()
    try:
        for figure in figures:
            figure.set_dpi(72)
            width, height = figure.get_size_inches()
            file.newPage(width, height)
            renderer = RendererPdf(file, 72, height, width)
            figure.draw(renderer)
            renderer.finalize()
            file.endStream()
        file.finalize()
    finally:
        file.close()


def searchable(texts: Sequence[tuple[Text, Array, str]], lettering: Lettering, order: float) -> Any:
    """Make one artist of texts, each with its base point on paper [in] and its colour, for :func:`write_pages`."""
    from matplotlib.artist import Artist

    class Letters(Artist):
        """Writes each text with the typefaces of the file that is drawn to."""

        def draw(self, renderer: Any) -> None:
            from matplotlib.backends.backend_pdf import Op

            file, made = renderer.file, renderer.new_gc()
            for colour, same in itertools.groupby(texts, key=lambda item: item[2]):
                made.set_foreground(colour)
                renderer.check_gc(made, made.get_rgb())
                file.output(Op.begin_text)
                for mark, at, _ in same:
                    width = lettering.width(mark.text, mark.height, strong=mark.strong)
                    back = {"left": 0.0, "centre": width / 2, "right": width}[mark.align]
                    turn = math.radians(mark.angle)
                    along, up = math.cos(turn), math.sin(turn)
                    x, y = 72 * (at[0] - back * along), 72 * (at[1] - back * up)
                    file.output(along, up, -up, along, x, y, Op.textmatrix)
                    size = 72 * mark.height / CAPITAL
                    for name, codes in file.typefaces.encoded(mark.text, strong=mark.strong):
                        file.output(name, size, Op.selectfont, codes, Op.show)
                file.output(Op.end_text)
            made.restore()

    letters = Letters()
    letters.set_zorder(order)
    return letters


class Typefaces:
    """The fonts of one file: every sign that was lettered gets a code in one of them, in the order of first use."""

    def __init__(self) -> None:
        self._signs: dict[bool, dict[str, int]] = {False: {}, True: {}}

    def encoded(self, text: str, *, strong: bool) -> list[tuple[Any, bytes]]:
        """Give a text as codes, divided where the font changes, each part with the font's name in the file."""
        signs = self._signs[strong]
        places = [divmod(signs.setdefault(sign, len(signs)), _MOST) for sign in text]
        return [
            (self._name(strong, font), bytes(code + 1 for _, code in part))
            for font, part in itertools.groupby(places, key=lambda place: place[0])
        ]

    def write(self, file: Any) -> None:
        """Write all fonts into a PDF file of the plotting library."""
        fonts = {}
        for strong, signs in self._signs.items():
            for number, part in enumerate(_parts(list(signs))):
                fonts[self._name(strong, number)] = _write_font(file, part, strong=strong)
        file.writeObject(file.fontObject, fonts)

    @staticmethod
    def _name(strong: bool, number: int) -> Any:
        from matplotlib.backends.backend_pdf import Name

        return Name(f"{'B' if strong else 'F'}{number + 1}")


def _parts(signs: Sequence[str]) -> list[Sequence[str]]:
    return [signs[start : start + _MOST] for start in range(0, len(signs), _MOST)]


def _write_font(file: Any, signs: Sequence[str], *, strong: bool) -> Any:
    """Write a font of drawn glyphs (type 3 of ISO 32000-1, 9.6.5), and give the reference to it."""
    from matplotlib.backends.backend_pdf import Name

    names = [f"uni{ord(sign):04X}" if ord(sign) < 0x10000 else f"u{ord(sign):X}" for sign in signs]
    procedures, widths = {}, []
    low, high = np.zeros(2), np.zeros(2)
    for sign, name in zip(signs, names, strict=True):
        points, codes = glyph(sign, strong=strong)
        points = np.round(points * _SIZE)
        width = advance(sign, strong=strong) * _SIZE
        widths.append(width)
        if len(points):
            low, high = np.minimum(low, points.min(axis=0)), np.maximum(high, points.max(axis=0))
        reference = file.reserveObject("glyph")
        file.outputStream(reference, _procedure(file, points, codes, width))
        procedures[name] = reference
    font, to_unicode = file.reserveObject("font"), file.reserveObject("to Unicode")
    file.outputStream(to_unicode, _to_unicode(signs))
    file.writeObject(
        font,
        {
            "Type": Name("Font"),
            "Subtype": Name("Type3"),
            "FontBBox": [*low.tolist(), *high.tolist()],
            "FontMatrix": [1 / _SIZE, 0, 0, 1 / _SIZE, 0, 0],
            "CharProcs": procedures,
            "Encoding": {"Type": Name("Encoding"), "Differences": [1, *(Name(name) for name in names)]},
            "FirstChar": 1,
            "LastChar": len(signs),
            "Widths": widths,
            "Resources": {},
            "ToUnicode": to_unicode,
        },
    )
    return font


def _procedure(file: Any, points: Array, codes: Any, width: float) -> bytes:
    """What draws a glyph: its width, its bounds, and its outline filled."""
    from matplotlib.backends.backend_pdf import pdfRepr
    from matplotlib.path import Path as PlotPath

    said = bytes(pdfRepr(float(width)))
    if not len(points):
        return said + b" 0 d0"
    bounds = b" ".join(bytes(pdfRepr(float(value))) for value in (*points.min(axis=0), *points.max(axis=0)))
    # The library's own writer turns the quadratic curves of the typeface into the cubic ones of the file.
    outline = b"".join(bytes(pdfRepr(part)) for part in file.pathOperations(PlotPath(points, codes), None))
    return b"%b 0 %b d1\n%b\nf" % (said, bounds, outline)


def _to_unicode(signs: Sequence[str]) -> bytes:
    """What codes mean, for search and copy (ISO 32000-1, 9.10.3)."""
    lines = [f"<{code:02x}> <{sign.encode('utf-16-be').hex()}>" for code, sign in enumerate(signs, start=1)]
    # At most a hundred lines to a section.
    sections = [lines[start : start + 100] for start in range(0, len(lines), 100)]
    body = "\n".join(
        f"{len(section)} beginbfchar\n{chr(10).join(section)}\nendbfchar" for section in sections
    )
    return (
        "/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n"
        "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n"
        "/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n"
        f"1 begincodespacerange\n<01> <ff>\nendcodespacerange\n{body}\n"
        "endcmap\nCMapName currentdict /CMap defineresource pop\nend\nend"
    ).encode("ascii")
