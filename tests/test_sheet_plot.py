"""The plan as an image and as a PDF: size, true scale, measured lettering, the same bytes every time."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: TID253 - a test may start slowly
from matplotlib.figure import Figure  # noqa: TID253 - a test may start slowly
from matplotlib.font_manager import FontProperties  # noqa: TID253 - a test may start slowly
from matplotlib.textpath import TextPath  # noqa: TID253 - a test may start slowly
from PIL import Image
from pypdf import PdfReader

from layout.sheets import layers
from layout.sheets.drafting import draft
from layout.sheets.lettering import CAPITAL, Lettering, font_file
from layout.sheets.marks import Drawing, Line, Sheet, Text
from layout.sheets.plot import write_pdf, write_png
from tests.fields import curved_field, kinds_field, tree_field, wide_field


@pytest.fixture(scope="module")
def drawing() -> Drawing:
    return draft(tree_field())


def test_the_image_has_the_size_of_the_paper(drawing: Drawing, tmp_path: Path) -> None:
    write_png(drawing, tmp_path / "plan.png")
    with Image.open(tmp_path / "plan.png") as image:
        assert image.size == (17 * 200, 11 * 200)
        assert image.info["dpi"] == pytest.approx((200, 200), rel=1e-4)
        assert set(image.info) == {"dpi"}


def test_runs_are_drawn_where_and_as_long_as_they_are(drawing: Drawing, tmp_path: Path) -> None:
    """The 98 ft run R1 measures 98 / 20 in on the image, and blue stands on it, but not beside it."""
    write_png(drawing, tmp_path / "plan.png")
    with Image.open(tmp_path / "plan.png") as image:
        pixels = np.asarray(image.convert("RGB")).astype(int)
    run = next(mark.line for mark in drawing.plan if isinstance(mark, Line) and mark.layer is layers.RUN)
    ends = drawing.view.to_paper(run.coords)
    assert ends[1, 0] - ends[0, 0] == pytest.approx(98 / 20)
    row = round((11 - ends[0, 1]) * 200)
    strip = pixels[row - 3 : row + 3]
    blue = np.any((strip[:, :, 2] - strip[:, :, 0] > 80) & (strip[:, :, 0] < 120), axis=0)
    left, right = round(ends[0, 0] * 200), round(ends[1, 0] * 200)
    found = np.flatnonzero(blue[left - 40 : right + 10]) + left - 40
    assert found.min() == pytest.approx(left, abs=3)
    # The loop bulges a little beyond the run's end.
    assert found.max() == pytest.approx(right, abs=12)


def test_the_pdf_is_true_to_scale(drawing: Drawing, tmp_path: Path) -> None:
    """98 ft at 1 in = 20 ft is 352.8 points, read back by another library."""
    write_pdf(drawing, tmp_path / "plan.pdf")
    page = PdfReader(tmp_path / "plan.pdf").pages[0]
    assert [float(value) for value in page.mediabox] == [0, 0, 17 * 72, 11 * 72]
    contents = page.get_contents()
    assert contents is not None
    text = contents.get_data().decode("latin-1")
    found = [
        abs(float(x2) - float(x1))
        for x1, y1, x2, y2 in re.findall(r"([\d.]+) ([\d.]+) m\s+([\d.]+) ([\d.]+) l\s", text)
        if abs(float(y2) - float(y1)) < 1e-6
    ]
    assert any(length == pytest.approx(98 / 20 * 72, abs=0.001) for length in found)


def test_the_pdf_can_be_searched_and_has_all_sheets(tmp_path: Path) -> None:
    drawing = draft(wide_field(140, length=900.0))
    write_pdf(drawing, tmp_path / "plan.pdf")
    reader = PdfReader(tmp_path / "plan.pdf")
    assert len(reader.pages) == len(drawing.sheets)
    text = " ".join(page.extract_text() for page in reader.pages)
    assert "R140" in text
    assert "Cautions" in text
    assert reader.metadata is not None
    assert set(reader.metadata) == {"/Title"}


def test_a_pdf_holds_more_signs_than_fit_into_one_font(drawing: Drawing, tmp_path: Path) -> None:
    """Every letter of four alphabets in both weights, read back; a font of the file has 255 signs at most."""
    letters = [
        chr(code)
        for low, high in ((0x21, 0x7F), (0xC0, 0x180), (0x391, 0x3CA), (0x410, 0x450))
        for code in range(low, high)
        if chr(code).isalnum()
    ]
    lines = ["".join(letters[start : start + 40]) for start in range(0, len(letters), 40)]
    marks = [
        Text(
            layer=layers.LABEL, text=line, at=(1.0, 10.0 - 0.2 * row - 4 * strong), height=0.08, strong=strong
        )
        for strong in (False, True)
        for row, line in enumerate(lines)
    ]
    sheet = Sheet(name="letters", marks=tuple(marks), view=None)
    write_pdf(replace(drawing, sheets=(sheet,)), tmp_path / "letters.pdf")
    page = PdfReader(tmp_path / "letters.pdf").pages[0]
    assert page.extract_text().split() == 2 * lines
    fonts = page["/Resources"]["/Font"]
    signs = {name: font.get_object()["/LastChar"] for name, font in fonts.items()}
    assert sum(signs.values()) == 2 * len(letters)
    assert len(signs) == 4
    assert max(signs.values()) == 255


def test_signs_of_a_pdf_are_as_wide_as_the_typeface_says(drawing: Drawing, tmp_path: Path) -> None:
    """Widths in the file against the table of advances of the typeface itself, read by another library."""
    from fontTools.ttLib import TTFont  # comes with the plotting library

    mark = Text(layer=layers.LABEL, text="WAVY 1/8 \u2013 gal", at=(1.0, 5.0), height=0.1)
    sheet = Sheet(name="letters", marks=(mark,), view=None)
    write_pdf(replace(drawing, sheets=(sheet,)), tmp_path / "letters.pdf")
    (font,) = PdfReader(tmp_path / "letters.pdf").pages[0]["/Resources"]["/Font"].values()
    typeface = TTFont(font_file(strong=False))
    names, advances = typeface.getBestCmap(), typeface["hmtx"]
    wanted = [1000 * advances[names[ord(sign)]][0] / 2048 for sign in dict.fromkeys(mark.text)]
    assert [float(width) for width in font.get_object()["/Widths"]] == pytest.approx(wanted, abs=0.1)


def test_awkward_names_are_drawn_without_warnings(tmp_path: Path) -> None:
    drawing = draft(kinds_field())
    write_png(drawing, tmp_path / "plan.png")
    write_pdf(drawing, tmp_path / "plan.pdf")
    assert "línea" in PdfReader(tmp_path / "plan.pdf").pages[0].extract_text()


@pytest.mark.parametrize("strong", [False, True])
@pytest.mark.parametrize("text", ["R12  114.24 ft", "1 in supply manifold, 8.00 ft", "WAVY To, gal/ft²/day"])
def test_lettering_measures_what_the_plotting_library_draws(text: str, strong: bool) -> None:
    figure = Figure(figsize=(10, 2), dpi=720)
    canvas: Any = FigureCanvasAgg(figure)
    font = FontProperties(fname=str(font_file(strong=strong)), size=72 * 0.08 / CAPITAL)
    drawn = figure.text(0.1, 0.5, text, fontproperties=font, verticalalignment="baseline")
    extent = drawn.get_window_extent(canvas.get_renderer())
    lettering = Lettering()
    # Pairs of letters that are moved together make the drawn text a little shorter, never longer.
    measured = lettering.width(text, 0.08, strong=strong)
    assert 0.93 * measured < extent.width / 720 < 1.005 * measured
    mark = Text(layer=layers.LABEL, text=text, at=(1.0, 1.0), height=0.08, strong=strong)
    box = lettering.box(mark).bounds
    assert box[1] - 0.002 <= extent.y0 / 720
    assert extent.y1 / 720 <= box[3] + 0.002


@pytest.mark.parametrize("strong", [False, True])
def test_a_capital_is_as_high_as_stated(strong: bool) -> None:
    outline = TextPath(
        (0, 0), "H", size=72 * 0.08 / CAPITAL, prop=FontProperties(fname=str(font_file(strong=strong)))
    )
    assert outline.get_extents().height / 72 == pytest.approx(0.08, rel=0.005)


SAME = """
import hashlib, sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from layout.sheets.drafting import draft
from layout.sheets.dxf import write_dxf
from layout.sheets.plot import write_pdf, write_png
from tests.fields import curved_field
drawing, folder = draft(curved_field()), Path(sys.argv[1])
for name, write in (("plan.png", write_png), ("plan.pdf", write_pdf), ("plan.dxf", write_dxf)):
    write(drawing, folder / name)
    print(name, hashlib.sha256((folder / name).read_bytes()).hexdigest())
"""


def test_the_same_design_gives_the_same_bytes_in_every_process(tmp_path: Path) -> None:
    root = str(Path(__file__).resolve().parent.parent)
    said = [
        subprocess.run(
            [sys.executable, "-c", SAME, str(tmp_path), root],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("0", "1")
    ]
    assert said[0].count("plan.") == 3
    assert said[0] == said[1]


def test_user_settings_of_the_plotting_library_change_nothing(tmp_path: Path) -> None:
    import matplotlib

    drawing = draft(curved_field())
    write_png(drawing, tmp_path / "plain.png")
    with matplotlib.rc_context(
        {"path.simplify": True, "lines.scale_dashes": True, "figure.dpi": 40, "savefig.bbox": "tight"}
    ):
        write_png(drawing, tmp_path / "set.png")
        write_pdf(drawing, tmp_path / "set.pdf")
    assert (tmp_path / "plain.png").read_bytes() == (tmp_path / "set.png").read_bytes()
    assert float(PdfReader(tmp_path / "set.pdf").pages[0].mediabox.width) == 17 * 72
