"""The site that ``sinuate new`` writes: an invented lot with a winding bed, every key explained."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

XY = tuple[float, float]

_FIGURES: dict[str, tuple[float, float] | tuple[str, str]] = {
    "scale": (1.0, 0.3),
    "crs": ("EPSG:6494", "EPSG:26919"),
    "length": ("ft", "m"),
    "emitter_flow_unit": ("gal/h", "L/h"),
    "flow_unit": ("gal/min", "L/min"),
    "daily_unit": ("gal/day", "L/day"),
    "diameter_unit": ("in", "mm"),
    "pressure_unit": ("psi", "kPa"),
    "loading_unit": ("gal/ft2/day", "L/m2/day"),
    "velocity_unit": ("ft/s", "m/s"),
    "clearance": (1.0, 0.3),
    "smooth": (0.5, 0.15),
    "dwelling": (10.0, 3.0),
    "tank": (10.0, 3.0),
    "well": (50.0, 15.0),
    "lot": (5.0, 1.5),
    "oak": (2.0, 0.6),
    "emitter_spacing": (2.0, 0.6),
    "emitter_flow": (0.6, 2.3),
    "bend_radius": (2.0, 0.6),
    "inside_diameter": (0.55, 14.0),
    "pressure_range": ("[7.0, 60.0]", "[50.0, 400.0]"),
    "emitter_pressure": (20.0, 140.0),
    "coil": (500.0, 150.0),
    "spacing": (2.0, 0.6),
    "widest": (3.0, 0.9),
    "shortest": (10.0, 3.0),
    "longest": (300.0, 90.0),
    "diameter": (1.0, 25.0),
    "offset": (1.0, 0.3),
    "most_flow": (4.0, 15.0),
    "curve": ("[[0.0, 70.0], [10.0, 55.0], [20.0, 25.0]]", "[[0.0, 21.0], [40.0, 16.0], [75.0, 8.0]]"),
    "flow": (440.0, 1600.0),
    "loading": (0.3, 12.0),
    "flush_velocity": (2.0, 0.6),
    "temperature": (60.0, 15.0),
    "temperature_unit": ("°F", "°C"),
    "filter_loss": (3.0, 20.0),
    "interval": (10.0, 3.0),
    "tolerance": (0.1, 0.03),
    "laid_within": (0.5, 0.15),
    "pipe": (20.0, 6.0),
    "blank_coil": (100.0, 50.0),
    "staple_interval": (4.0, 1.2),
    "paint": (500.0, 150.0),
    "cover_depth": (0.5, 0.15),
    "sand_depth": (0.33, 0.1),
    "trench_width": (1.0, 0.3),
    "rounding": ("0.05 ft", "1 cm"),
    "sheet_size": ("ANSI D", "A1"),
    "plot_scale": ("1 in = 20 ft", "1:200"),
}
"""Figures of the site file in feet and in metres; `scale` turns the lot's feet into them, a feature has its setback."""

_SITE = """\
# A site for sinuate: one bed, what to keep clear of, the tubing, the rules.
# The lot is invented. Put your own survey and figures in; every figure below is an example value.
# A line that begins with # is a remark; take the # away to make it count.
# All keys but units, bed.outline, runs.spacing, emitter_spacing and emitter_flow may be left out.

title = "Sorrel Hollow, lot 7"
units = "{units}"                   # "ft" international foot, "us-ft" US survey foot, "m" metre
                                 # lengths, coordinates and levels are in it

# [survey]
# crs = "{crs}"  # the projected CRS of the coordinates, in the same units; none: a local grid
# drawing_units = "{units}"  # what the coordinates of .dxf files are in, where their headers are wrong or silent

[bed]
outline = "bed.csv"              # a file, or points: [[0, 0], [90, 0], [90, 14], [0, 14]]
clearance = {clearance}                  # least distance from the bed's edge to tubing
# smooth = {smooth}                   # an outline walked point by point: how far smoothing may move it
levels = "levels.csv"            # ground levels: a file of x, y, z, or one number

# What to keep clear of: any number of [[feature]].
# kind: building, tank, well, property line, water line, water body, tree, drive, slope, other
# shape: a file or points; one point is a point, an open row a line, a closed one (first = last) an area
# setback: no tubing nearer than this. Your local code says how much; nothing is built in.

[[feature]]
name = "dwelling"
kind = "building"
shape = "dwelling.csv"
setback = {dwelling}

[[feature]]
name = "septic tank"
kind = "tank"
shape = {tank_shape}
setback = {tank}

[[feature]]
name = "well"
kind = "well"
shape = {well_shape}
setback = {well}

[[feature]]
name = "north lot line"
kind = "property line"
shape = {lot_shape}
setback = {lot}

[[feature]]
name = "oak"
kind = "tree"
shape = {oak_shape}
setback = {oak}
inside = true                    # it stands in the bed and cuts a hole

[tubing]
emitter_spacing = {emitter_spacing}            # {length} along the tubing
emitter_flow = {emitter_flow}               # {emitter_flow_unit} each
bend_radius = {bend_radius}                # {length}, tightest bend of a run
inside_diameter = {inside_diameter}           # {diameter_unit}
pressure_range = {pressure_range}   # {pressure_unit} in which emitters keep their flow
compensating = true              # false: flow = emitter_flow * (pressure / emitter_pressure) ** exponent
# emitter_pressure = {emitter_pressure}        # {pressure_unit}, needed with compensating = false
# emitter_exponent = 0.5         # the same; 0.5 for a turbulent emitter
coil = {coil}                     # {length} in a coil as bought

[runs]
spacing = {spacing}                    # {length}, centre to centre
pattern = "best"                 # best, left, right, centre, even, drawn, contour
# guide = "guide.csv"            # the line to follow, for pattern = "drawn"
# closest = {spacing}                  # least gap for "even"; left out: spacing
# widest = {widest}                   # greatest gap for "even"; left out: 1.5 x spacing
shortest = {shortest}                  # a shorter piece is left out, and listed
# most = 8                       # at most so many runs
# first = {clearance}                    # {length} from the side followed to the first run: "left", "right", "even"
# sides = "outline"              # whose long sides: outline, usable ground, rectangle, lobes; left out: the outline's

[laterals]
runs = "best"                    # runs joined into one lateral: "best", or 1, 2, 3 ...
longest = {longest}                  # {length} of tubing in one lateral

[manifold]
end = "pump"                     # the bed end: "pump" (nearer the pump), "far", or a point near it [x, y]
supply_diameter = {diameter}            # {diameter_unit}, nominal
return_diameter = {diameter}            # {diameter_unit}
offset = {offset}                     # {length} from the run ends to the supply trench, and on to the return

# Left out, the field is one zone; else one of the two keys:
# [zones]
# count = 2                      # so many zones of neighbouring laterals, of nearly the same flow
# most_flow = {most_flow}                # {flow_unit}: as few zones as none of more flow allows
# lines = "own"                  # "own": lines to the pump for each manifold; "trunk": all share one of each kind

[pump]
at = {pump}                # where supply and return lines start and end
level = {pump_level}                     # liquid level
curve = {curve}   # [flow {flow_unit}, head {length}]

[design]
flow = {flow}                     # {daily_unit}
loading = {loading}                    # {loading_unit} the ground takes: yours to state
flush_velocity = {flush_velocity}             # {velocity_unit} at the lateral ends
least_pitch = 1.0                # per cent, least fall of the return line to the tank
water_temperature = {temperature}         # {temperature_unit}
# friction = "hazen-williams"    # else "darcy-weisbach", which knows laminar flow
# smoothness = 140.0             # the coefficient C of Hazen and Williams
# filter_loss = {filter_loss}              # {pressure_unit} that filters, meter and valves at the pump take
# dose_volumes = 4.0             # least dose, in volumes of the tubing: yours to state
# flow_band = 0.10               # share by which a flow measured at start-up may be off: yours to state

[stakeout]
interval = {interval}                  # {length}, greatest distance between stakes along a run
tolerance = {tolerance}                  # {length}, greatest distance of a run from the chord between stakes
ties = {ties}  # fixed points for swing ties
# baseline = {baseline}  # stations and offsets from this line; none: one is chosen
# rounding = "{rounding}"         # what tapes are read to; in feet also "1/8 in"
laid_within = {laid_within}                # {length}, how far from the plan tubing may be laid

# Left out, size and scale are chosen so that the bed fills the sheet, and the lines of the title block are blank:
# [sheet]
# size = "{sheet_size}"                # ANSI A to E, ARCH A to E1, A4 to A0
# scale = "{plot_scale}"        # an engineer's scale, or a ratio such as "1:200"
# title = "Plan of the drip bed" # of the drawings, under that of the site
# date = "2025-03-14"
# drawn_by = "A. B."
# checked_by = "C. D."
# revision = "1"

[takeoff]
waste = 5.0                      # per cent of tubing and pipe; or {{ "emitting tubing" = 8.0, "staple" = 10.0 }}
# prices = "prices.csv"          # your prices: a header item,unit,price, then a line an item
# pipe = {pipe}                    # {length} of a pipe as sold
# blank_coil = {blank_coil}             # {length} in a coil of tubing without emitters; left out, it is cut to length
# staple_interval = {staple_interval}          # {length}, greatest distance between staples along tubing
# staple_box = 100               # staples in a box
# paint = {paint}                  # {length} of line that a can of marking paint marks
# cover_depth = {cover_depth}             # {length} of fill over the whole bed
# sand_depth = {sand_depth}              # {length} of sand in pipe trenches
# trench_width = {trench_width}            # {length}, width of pipe trenches
"""

_BED_FROM, _BED_TO, _BED_MIDDLE = 20.0, 140.0, 62.0
_HALF_WIDTH, _SWING = 7.5, 9.0
_GRADE_EAST, _GRADE_NORTH = 0.01, 0.045


def figures_of(units: str) -> dict[str, Any]:
    """The figures of the starter site in the units of a word of the site file, by name."""
    figures = {name: metres if units == "m" else feet for name, (feet, metres) in _FIGURES.items()}
    return figures | ({"crs": "EPSG:2249"} if units == "us-ft" else {})


def starter_files(units: str) -> dict[str, str]:
    """Make the texts of the starter site.

    Parameters
    ----------
    units : str
        ``ft``, ``us-ft`` or ``m``.

    Returns
    -------
    dict
        Text by file name, the site file first.
    """
    figures = figures_of(units)
    scale = figures.pop("scale")

    def at(x: float, y: float) -> str:
        return f"[{x * scale:.1f}, {y * scale:.1f}]"

    def row(*points: XY) -> str:
        return "[" + ", ".join(at(x, y) for x, y in points) + "]"

    dwelling = ((44.0, 12.0), (84.0, 12.0), (84.0, 42.0), (44.0, 42.0), (44.0, 12.0))
    site = _SITE.format(
        units=units,
        **figures,
        tank_shape=row((98, 26), (108, 26), (108, 34), (98, 34), (98, 26)),
        well_shape=row((196, 20)),
        lot_shape=row((0, 92), (200, 92)),
        oak_shape=row((56, 77.5)),
        pump=at(118, 30),
        pump_level=round(94.0 * scale, 1),
        ties=row((44, 42), (84, 42), (0, 92), (200, 92)),
        baseline=row((20, 62), (140, 62)),
    )
    return {
        "site.toml": aligned(site),
        "bed.csv": _csv("x,y", _bed(), scale),
        "dwelling.csv": _csv("x,y", dwelling, scale),
        "levels.csv": _csv("x,y,z", _levels(), scale),
    }


def aligned(text: str) -> str:
    """Set the remarks that stand behind a key one below the other."""
    lines = []
    for line in text.splitlines():
        key, mark, remark = line.rpartition("  # ")
        lines.append(f"{key.rstrip():<32}{mark}{remark}" if mark else line)
    return "\n".join(lines) + "\n"


def _csv(header: str, points: Iterable[tuple[float, ...]], scale: float) -> str:
    rows = [",".join(f"{value * scale:.2f}" for value in point) for point in points]
    return "\n".join([header, *rows]) + "\n"


def _bed() -> list[XY]:
    """Walk the outline of the bed: a wave of even width, one side there and the other back."""
    wave = 2 * math.pi / (_BED_TO - _BED_FROM)
    count = 40
    sides: tuple[list[XY], list[XY]] = ([], [])
    for step in range(count + 1):
        x = _BED_FROM + (_BED_TO - _BED_FROM) * step / count
        y = _BED_MIDDLE + _SWING * math.sin(wave * (x - _BED_FROM))
        slope = _SWING * wave * math.cos(wave * (x - _BED_FROM))
        length = math.hypot(1.0, slope)
        for side, sign in zip(sides, (-1.0, 1.0), strict=True):
            side.append((x - sign * slope / length * _HALF_WIDTH, y + sign * _HALF_WIDTH / length))
    return [*sides[0], *reversed(sides[1])]


def _levels() -> list[tuple[float, float, float]]:
    """Levels on a coarse grid of ground that rises to the north."""
    return [
        (x, y, 96.0 + _GRADE_EAST * x + _GRADE_NORTH * (y - 40.0))
        for y in (40.0, 62.0, 84.0)
        for x in (10.0, 45.0, 80.0, 115.0, 150.0)
    ]
