"""The cut list for programs: coils in the order of pulling, in the site's units."""

from __future__ import annotations

import math
from typing import Any

from layout.frame import point_to_site
from layout.model import Design


def cut_entries(design: Design) -> dict[str, Any] | None:
    """The coils of a design, what is cut from each, splices and the bound; None where it has no cut list.

    Lengths are those of the runs, at full precision: they add up to the tubing of the field.
    """
    cuts, frame = design.cuts, design.site.frame
    if cuts is None:
        return None
    unit = frame.units.length
    return {
        "length": cuts.length / unit,
        "waste": cuts.waste,
        "count": len(cuts.coils),
        "at_least": math.ceil(cuts.bound - 1e-6),
        "fewest": cuts.fewest,
        "spliced": cuts.spliced,
        "cuts": [
            {
                "coil": coil.number,
                "run": cut.run,
                "piece": cut.number,
                "of": cut.of,
                "from": cut.start / unit,
                "length": cut.length / unit,
                "off_coil": cut.taken / unit,
            }
            for coil in cuts.coils
            for cut in coil.cuts
        ],
        "left": [coil.left / unit for coil in cuts.coils],
        "splices": [
            {
                "run": splice.run,
                "station": splice.station / unit,
                "at": list(point_to_site(frame, splice.at)),
            }
            for splice in cuts.splices
        ],
    }
