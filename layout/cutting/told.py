"""What deserves a look about coils: much that is left over of them."""

from __future__ import annotations

from collections.abc import Iterator

from layout.model import CutList, Finding, Site


def coil_findings(site: Site, cuts: CutList) -> Iterator[Finding]:
    """Say where runs cut whole take more coils than the same tubing spliced wherever a coil ends.

    Parameters
    ----------
    site : Site
    cuts : CutList
    """
    count, spliced = len(cuts.coils), cuts.spliced
    if spliced >= count:
        return
    coil = f"{cuts.length / site.frame.units.length:g} {site.frame.units.length_name}"
    yield Finding(
        code="coils-left-over",
        said=(
            f"Runs cut whole take {count} coils of {coil}, and leave {100 * cuts.left_over:.0f} % of them over; "
            f"spliced wherever a coil ends, the same runs would take {spliced}."
        ),
        remedy=(
            "State a coil that is sold and that the runs fill better (tubing.coil); or splice, order that many and "
            "count a coupling for each splice."
        ),
    )
