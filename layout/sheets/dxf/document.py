"""The DXF as a whole: header, model, sheets, and what makes its bytes the same every time.

The version of the format is R2010. Tubing and pipes are polylines of lines and arcs within a stated distance of the
points of `layout.json`. The same drawing gives the same bytes: fixed dates and identifiers, entities in a fixed order.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from layout.frame import to_site
from layout.plane import coordinates
from layout.sheets import layers
from layout.sheets.dxf.looks import add_tables
from layout.sheets.dxf.spaces import Space, paper_unit, per_inch
from layout.sheets.marks import Area, Dots, Drawing, Line, Sheet

VERSION = "R2010"
INSUNITS = {"ft": 2, "us-ft": 21, "m": 6}
"""The DXF reference's codes for drawing units."""
_LOCKED = 0x4000


def write_dxf(drawing: Drawing, path: Path) -> None:
    """Write the drawing with all its sheets."""
    with _reproducible():
        import ezdxf

        library: Any = ezdxf
        document = library.new(VERSION)
        _head(document, drawing)
        add_tables(document, drawing)
        model = document.modelspace()
        space = Space(model, drawing, drawing.view)
        space.write_all(drawing.plan, drawing.dimensions)
        space.write_all(drawing.extra)
        _extents(document, model, drawing)
        for sheet in drawing.sheets:
            _sheet(document, drawing, sheet)
        document.layouts.delete("Layout1")
        document.classes.add_required_classes(document.dxfversion)
        # The library keeps them in a set, whose order follows the hash seed.
        document.classes.classes = dict(sorted(document.classes.classes.items()))
        document.saveas(path)


@contextmanager
def _reproducible() -> Iterator[None]:
    """Keep dates and identifiers fixed while a document is made; to be entered before it is begun."""
    import ezdxf

    library: Any = ezdxf
    options = library.options
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _head(document: Any, drawing: Drawing) -> None:
    """Units, and dashes as long on paper as the pens say."""
    header = document.header
    header["$INSUNITS"] = INSUNITS[drawing.frame.units.word]
    header["$MEASUREMENT"] = 1 if drawing.paper.metric else 0
    header["$LUNITS"] = 2
    header["$LUPREC"] = 4
    # Dashes are scaled by this alone, in every viewport; those in paper space are scaled back one by one.
    header["$LTSCALE"] = per_inch(drawing, drawing.view)
    header["$PSLTSCALE"] = 0
    header["$PDMODE"] = 0


def _extents(document: Any, model: Any, drawing: Drawing) -> None:
    """Extents of the model space from what is drawn."""
    parts = []
    for mark in (*drawing.plan, *drawing.extra):
        if isinstance(mark, Line):
            parts.append(coordinates(mark.line))
        elif isinstance(mark, Area):
            parts.append(coordinates(mark.shape))
        else:
            parts.append(np.asarray(mark.points if isinstance(mark, Dots) else [mark.at]))
    points = to_site(drawing.frame, np.concatenate(parts))
    low, high = points.min(axis=0), points.max(axis=0)
    model.dxf.extmin = (float(low[0]), float(low[1]), 0.0)
    model.dxf.extmax = (float(high[0]), float(high[1]), 0.0)
    document.header["$EXTMIN"], document.header["$EXTMAX"] = model.dxf.extmin, model.dxf.extmax
    middle = (low + high) / 2
    document.set_modelspace_vport(
        height=float(max(high[1] - low[1], (high[0] - low[0]) / 1.6)) * 1.05,
        center=(float(middle[0]), float(middle[1])),
    )


def _sheet(document: Any, drawing: Drawing, sheet: Sheet) -> None:
    """Make a layout in paper space: its marks, and a locked viewport where it shows the plan."""
    layout = document.layouts.new(sheet.name)
    unit = paper_unit(drawing)
    layout.page_setup(
        size=(drawing.paper.width * unit, drawing.paper.height * unit),
        margins=(0, 0, 0, 0),
        units="mm" if drawing.paper.metric else "inch",
        scale=(1, 1),
    )
    Space(layout, drawing, None).write_all(sheet.marks, sheet.dimensions)
    if sheet.view is None:
        return
    left, bottom, right, top = (value * unit for value in sheet.view.window)
    centre = to_site(drawing.frame, [sheet.view.centre])[0]
    viewport = layout.add_viewport(
        center=((left + right) / 2, (bottom + top) / 2),
        size=(right - left, top - bottom),
        view_center_point=(float(centre[0]), float(centre[1])),
        view_height=(sheet.view.window[3] - sheet.view.window[1]) * per_inch(drawing, sheet.view),
        dxfattribs={"layer": layers.VIEWPORT.name},
    )
    viewport.dxf.flags |= _LOCKED
    # What is for the screen only would stand in the way on a sheet.
    viewport.frozen_layers = sorted({mark.layer.name for mark in drawing.extra})
