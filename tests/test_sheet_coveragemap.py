"""The coverage picture: rates worked out by hand, colours that keep their order for every eye, the picture itself."""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl  # noqa: TID253 - a test may start slowly
import numpy as np
import pytest
import shapely
from matplotlib.colors import to_rgb  # noqa: TID253 - a test may start slowly
from numpy.typing import NDArray
from PIL import Image

from layout.cells import emitter_cells, evenness
from layout.model import Cells, Design, EmitterRow
from layout.sheets import layers
from layout.sheets.coveragemap import BREAKS, RAMP, coverage_sheet, legend, rates_of, write_coverage
from layout.sheets.figures import Figures
from layout.sheets.lettering import Lettering
from layout.sheets.marks import Line, Text
from layout.sheets.write import write_plan
from layout.units import FOOT
from tests.command import Command
from tests.fields import curved_field, field, kinds_field, strip_field, tree_field, wide_field

Array = NDArray[np.float64]


def celled(design: Design) -> Design:
    """The design with the cells of its emitters."""
    cells = emitter_cells(
        design.ground.area, design.site.bed.outline, design.emitters, spacing=design.site.runs.spacing
    )
    assert cells is not None
    even = evenness(cells)
    mean, cv = even if even is not None else (None, None)
    return replace(design, cells=cells, totals=replace(design.totals, cell_mean=mean, cell_cv=cv))


def cells_of(design: Design) -> Cells:
    assert design.cells is not None
    return design.cells


def half_dry() -> Design:
    """A bed 40 ft by 8 ft, its runs 2 ft apart in the lower half, one 4 ft farther in the upper."""
    return celled(
        field(
            "Half dry, invented",
            [(0.0, 0.0), (40.0, 0.0), (40.0, 8.0), (0.0, 8.0)],
            [[(0.0, 7.0), (40.0, 7.0)], [(0.0, 3.0), (40.0, 3.0)], [(0.0, 1.0), (40.0, 1.0)]],
            clearance=0.0,
        )
    )


FIELDS: dict[str, Callable[[], Design]] = {
    "curved": lambda: celled(curved_field()),
    "metric": lambda: celled(curved_field("m")),
    "strip": lambda: celled(strip_field()),
    "tree": lambda: celled(tree_field()),
    "kinds": lambda: celled(kinds_field()),
    "wide": lambda: celled(wide_field(30, length=200.0)),
}


# --- rates -----------------------------------------------------------------------------------------------


def test_rates_by_hand() -> None:
    """Emitters every 2 ft: 2 × 2 ft is even; 2 × 3 ft, as on both sides of the wide gap, two thirds of it."""
    design = half_dry()
    rates = rates_of(design, cells_of(design))
    tubing = design.site.tubing
    assert tubing.emitter_spacing == pytest.approx(2 * FOOT)
    assert rates.even == pytest.approx(tubing.emitter_flow / (4 * FOOT**2))
    expected = [2 / 3] * 20 + [2 / 3] * 20 + [1.0] * 20
    assert rates.relative == pytest.approx(expected)
    assert list(rates.classes) == [1] * 40 + [3] * 20
    assert rates.shares == pytest.approx([0, 0.75, 0, 0.25, 0, 0, 0])


def test_loading_is_the_design_flow_over_the_ground() -> None:
    design = half_dry()
    rates = rates_of(design, cells_of(design))
    stated, loading = design.site.design.flow, design.site.design.loading
    assert stated is not None
    assert loading is not None
    assert rates.daily is not None
    daily = rates.daily * rates.relative
    assert np.sum(daily * cells_of(design).areas) == pytest.approx(stated)
    # 440 gal/day over 60 emitters: 1.83 gal/ft²/day on the dense quarter, 1.22 on the rest
    assert rates.daily == pytest.approx(440 / 60 / 4 * design.site.frame.units.loading)
    between = replace(design.site.design, loading=1.5 * design.site.frame.units.loading)
    assert rates_of(
        replace(design, site=replace(design.site, design=between)), cells_of(design)
    ).over == pytest.approx(0.25)


def test_without_design_flow_there_is_no_loading() -> None:
    design = half_dry()
    silent = replace(design.site.design, flow=None)
    design = replace(design, site=replace(design.site, design=silent))
    rates = rates_of(design, cells_of(design))
    assert rates.daily is None
    assert rates.over is None
    titles = legend(rates, Figures(design.site.frame.units)).titles
    assert titles is not None
    assert [cell.text for cell in titles.cells] == ["times even", "gal/h/ft²", "", "ground"]


def test_classes_begin_at_their_limit() -> None:
    design = half_dry()
    even = 4 * FOOT**2
    relative = [0.1, *(limit for limit in BREAKS), 50.0]
    cells = Cells(
        shapes=(shapely.box(0, 0, 1, 1),) * 8,
        areas=tuple(even / one * (1 - 1e-12) for one in relative),
        flows=(design.site.tubing.emitter_flow,) * 8,
        inner=(True,) * 8,
    )
    assert list(rates_of(design, cells).classes) == [0, 1, 2, 3, 4, 5, 6, 6]


def test_the_legend_has_a_row_for_each_class_the_most_water_first() -> None:
    design = half_dry()
    block = legend(rates_of(design, cells_of(design)), Figures(design.site.frame.units))
    rows = [[cell.text for cell in row.cells] for row in block.rows]
    assert [row[0] for row in rows] == [
        "over 2.00",
        "1.40 to 2.00",
        "1.10 to 1.40",
        "0.90 to 1.10",
        "0.70 to 0.90",
        "0.50 to 0.70",
        "under 0.50",
    ]
    flow = design.site.tubing.emitter_flow / design.site.frame.units.emitter_flow / 4
    assert rows[3][1] == f"{0.9 * flow:.3f} to {1.1 * flow:.3f}"
    assert rows[5][3] == "75.0 %"
    assert rows[3][3] == "25.0 %"


# --- colours ---------------------------------------------------------------------------------------------

# Full colour blindness of three kinds on linear light: Machado, Oliveira and Fernandes 2009, IEEE Transactions on
# Visualization and Computer Graphics 15(6), severity 1.0 (from memory; each row adds up to 1, white stays white)
SEEN = {
    "all colours": np.eye(3),
    "no red": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "no green": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "no blue": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}


def lightness(colours: Array) -> Array:
    """CIE 1976 lightness of linear colours, 0 to 100."""
    share = np.clip(colours, 0.0, 1.0) @ np.array([0.2126, 0.7152, 0.0722])
    return np.asarray(np.where(share > 0.008856, 116 * np.cbrt(share) - 16, 903.3 * share))


@pytest.mark.parametrize("eyes", list(SEEN))
def test_each_colour_is_clearly_darker_than_the_one_before(eyes: str) -> None:
    coded = np.array([to_rgb(colour) for colour in RAMP])
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    assert SEEN[eyes].sum(axis=1) == pytest.approx([1.0, 1.0, 1.0], abs=1e-5)
    steps = -np.diff(lightness(linear @ SEEN[eyes].T))
    assert steps.min() > 7.0
    if eyes == "all colours":
        assert steps == pytest.approx([steps.mean()] * 6, abs=0.5)


def test_the_colours_are_of_the_named_map() -> None:
    table = mpl.colormaps["cividis"](np.linspace(0, 1, 1000))[:, :3]
    for colour in RAMP:
        assert np.abs(table - to_rgb(colour)).max(axis=1).min() < 0.01


def test_there_is_one_colour_a_class() -> None:
    assert len(RAMP) == len(BREAKS) + 1


# --- the picture -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", list(FIELDS))
def test_lettering_does_not_overlap(name: str) -> None:
    design = FIELDS[name]()
    drawing, swatches = coverage_sheet(design, rates_of(design, cells_of(design)))
    lettering = Lettering()
    marks = drawing.sheets[0].marks
    boxes = [lettering.box(mark) for mark in marks if isinstance(mark, Text)]
    assert all(not a.intersects(b) for a, b in itertools.combinations(boxes, 2))
    lines = [mark.line for mark in marks if isinstance(mark, Line)]
    assert shapely.STRtree(boxes).query(lines, predicate="intersects").size == 0
    assert shapely.STRtree(boxes).query(swatches, predicate="intersects").size == 0
    paper = shapely.box(0, 0, drawing.paper.width, drawing.paper.height)
    assert all(paper.contains(box) for box in boxes)


@pytest.mark.parametrize("factor", [1e-3, 1e-2, 30.0, 1e4])
def test_rates_far_from_common_ones_fit_into_the_legend(factor: float) -> None:
    design = half_dry()
    tubing = replace(design.site.tubing, emitter_flow=design.site.tubing.emitter_flow * factor)
    cells = replace(cells_of(design), flows=tuple(flow * factor for flow in cells_of(design).flows))
    totals = replace(design.totals, flow=design.totals.flow * factor)
    design = replace(design, site=replace(design.site, tubing=tubing), cells=cells, totals=totals)
    drawing, _ = coverage_sheet(design, rates_of(design, cells))
    lettering = Lettering()
    boxes = [lettering.box(mark) for mark in drawing.sheets[0].marks if isinstance(mark, Text)]
    assert all(not a.intersects(b) for a, b in itertools.combinations(boxes, 2))


def test_a_cell_has_the_colour_of_its_class_on_the_image(tmp_path: Path) -> None:
    design = half_dry()
    write_coverage(design, tmp_path / "coverage.png")
    drawing, swatches = coverage_sheet(design, rates_of(design, cells_of(design)))
    with Image.open(tmp_path / "coverage.png") as image:
        dpi = image.size[0] / drawing.paper.width
        pixels = np.asarray(image.convert("RGB")).astype(int)

    def colour(x: float, y: float) -> Array:
        return np.asarray(pixels[round((drawing.paper.height - y) * dpi), round(x * dpi)], dtype=float)

    expected = {one: 255 * np.array(to_rgb(RAMP[one])) for one in (1, 3)}
    for feet, one in (((10.5, 5.5), 1), ((10.5, 3.6), 1), ((20.5, 1.6), 3)):
        ((x, y),) = drawing.view.to_paper([(feet[0] * FOOT, feet[1] * FOOT)])
        assert np.abs(colour(x, y) - expected[one]).max() < 14
    # And the swatch in the legend is of that same colour: the third class from below is the fourth row.
    for one in (1, 3):
        middle = swatches[len(RAMP) - 1 - one].centroid
        assert np.abs(colour(middle.x, middle.y) - expected[one]).max() < 14


def test_runs_stand_out_black_on_white_from_every_colour() -> None:
    design = FIELDS["wide"]()
    drawing, _ = coverage_sheet(design, rates_of(design, cells_of(design)))
    pens = [mark.pen for mark in drawing.plan if isinstance(mark, Line) and mark.layer is layers.RUN]
    count = len(design.laying.runs)
    white, black = pens[:count], pens[count:]
    assert {(pen.colour.value) for pen in white if pen} == {"white"}
    assert {(pen.colour.value) for pen in black if pen} == {"black"}
    assert white[0] is not None
    assert black[0] is not None
    assert white[0].weight > black[0].weight
    apart = design.site.runs.spacing / drawing.view.metres_per_inch * 25.4
    assert white[0].weight < apart / 2


def test_the_picture_is_the_same_every_time_whatever_the_user_has_set(tmp_path: Path) -> None:
    design = FIELDS["tree"]()
    write_coverage(design, tmp_path / "a.png")
    with mpl.rc_context({"lines.linewidth": 9.0, "savefig.dpi": 30, "patch.linewidth": 7.0}):
        write_coverage(design, tmp_path / "b.png")
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


def test_an_emitter_without_ground_does_no_harm(tmp_path: Path) -> None:
    """One that stands outside the bed by a mistake has an empty cell and no rate."""
    design = half_dry()
    stray = EmitterRow(run="R1", points=((-50.0, -50.0),), flow=1e-6)
    cells = emitter_cells(
        design.ground.area,
        design.site.bed.outline,
        [*design.emitters, stray],
        spacing=design.site.runs.spacing,
    )
    assert cells is not None
    assert cells.areas[-1] == 0.0
    rates = rates_of(design, cells)
    assert math.fsum(rates.shares) == pytest.approx(1.0)
    write_coverage(replace(design, cells=cells), tmp_path / "coverage.png")


def test_it_is_written_on_request_only(tmp_path: Path) -> None:
    design = half_dry()
    plain = write_plan(design, tmp_path / "plain")
    asked = write_plan(design, tmp_path / "asked", coverage=True)
    assert [path.name for path in asked] == [*(path.name for path in plain), "coverage.png"]
    assert all(path.is_file() for path in asked)
    assert not (tmp_path / "plain" / "coverage.png").exists()
    without = write_plan(replace(design, cells=None), tmp_path / "none", coverage=True)
    assert [path.name for path in without] == [path.name for path in plain]
    with pytest.raises(ValueError, match="cells"):
        write_coverage(replace(design, cells=None), tmp_path / "coverage.png")


# --- from the command line -------------------------------------------------------------------------------

RECTANGLE = Path(__file__).parent / "sites" / "rectangle.toml"


def test_plan_writes_it_and_the_totals_tell_how_even_it_is(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """100 ft by 12 ft, 2 ft apart, an emitter every 2 ft: 4 ft² each, all the same."""
    done = Command(monkeypatch, capsys)("plan", RECTANGLE, "--coverage", "--out", tmp_path)
    assert done.code == 0
    assert "coverage.png" in done.out.splitlines()[-2]
    assert ["ground", "4.00", "ft²"] in [line.split()[:3] for line in done.out.splitlines()]
    totals = json.loads((tmp_path / "layout.json").read_text(encoding="utf-8"))["totals"]
    assert totals["cell_area_mean"] == pytest.approx(4.0, rel=1e-9)
    assert totals["cell_area_cv"] == pytest.approx(0.0, abs=1e-9)
    with Image.open(tmp_path / "coverage.png") as image:
        assert image.size == (3400, 2200)


def test_a_field_of_too_many_emitters_says_why_there_is_none(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr("layout.cells.MOST_CELLS", 100)
    done = Command(monkeypatch, capsys)("plan", RECTANGLE, "--coverage", "--out", tmp_path)
    assert done.code == 0
    assert "Look: The field has 294 emitters" in done.out
    assert not (tmp_path / "coverage.png").exists()
    found = json.loads((tmp_path / "layout.json").read_text(encoding="utf-8"))
    assert found["totals"]["cell_area_cv"] is None
    assert "no-cells" in [finding["code"] for finding in found["findings"]]
