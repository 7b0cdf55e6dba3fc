"""The layers of a drawing and their pens.

Names follow the published form discipline - major group - minor group - status (N new, E existing) of the
United States National CAD Standard's layer guidelines (form from memory); minor groups it leaves open are
ours. Line widths and types follow ISO 128's meaning (from memory): continuous thick for what is built, thin
for dimensions and leaders, dashes for limits, long dash and two dots for boundaries.
"""

from __future__ import annotations

from layout.model import FeatureKind
from layout.sheets.marks import Colour, Dash, Layer, Pen


def _layer(
    name: str, description: str, weight: float, dash: Dash = Dash.CONTINUOUS, colour: Colour = Colour.BLACK
) -> Layer:
    return Layer(name=name, description=description, pen=Pen(weight=weight, dash=dash, colour=colour))


# Thin, so that what lies beside it or on it is told from it; told from pipes by their dashes, in grey print, too.
BED = _layer("C-SSWR-BEDS-N", "edge of the bed", 0.25)
USABLE = _layer("C-SSWR-USBL-N", "usable ground", 0.13, Dash.DOT)
SETBACK = _layer("C-SSWR-SETB-N", "limit of a setback", 0.18, Dash.LONG)
RUN = _layer("C-SSWR-DRIP-N", "run: emitting tubing", 0.35, colour=Colour.BLUE)
EMITTER = _layer("C-SSWR-EMIT-N", "emitter", 0.18, colour=Colour.BLUE)
LOOP = _layer("C-SSWR-LOOP-N", "end loop, no emitters", 0.35, Dash.SHORT, Colour.BLUE)
BLANK = _layer("C-SSWR-BLNK-N", "blank tubing, no emitters", 0.35, Dash.MIXED, Colour.BLUE)
# Manifolds lie on the edge of the bed or beside it, and are four times as heavy to be told from it.
MANIFOLD = _layer("C-SSWR-MANF-N", "supply manifold", 1.00)
RETURN_MANIFOLD = _layer("C-SSWR-MANR-N", "return manifold", 1.00, Dash.LONG)
RISER = _layer("C-SSWR-RISR-N", "riser or lead from manifold to run", 0.35, Dash.FINE)
SUPPLY = _layer("C-SSWR-SUPP-N", "supply line", 0.50, Dash.STROKES)
RETURN = _layer("C-SSWR-RETN-N", "return line", 0.50, Dash.LONG)
ZONE = _layer("C-SSWR-ZONE-N", "limit between zones", 0.50, Dash.CENTRE)
ZONE_AREA = Layer(
    name="C-SSWR-ZNAR-N",
    description="ground of every second zone",
    pen=Pen(weight=0.13, colour=Colour.SHADE),
)
ZONE_VALVE = _layer("C-SSWR-VALV-N", "zone valve", 0.18)
FLUSH_VALVE = _layer("C-SSWR-FLSV-N", "return flush valve", 0.18)
TRUNK_TEE = _layer("C-SSWR-TRTE-N", "tee of a trunk", 0.18)
AIR_VALVE = _layer("C-SSWR-AIRV-N", "air and vacuum release valve", 0.18)
PUMP = _layer("C-SSWR-PUMP-N", "pump", 0.35)
STAKE = Layer(name="C-SSWR-STAK-N", description="stakes, not plotted", pen=Pen(weight=0.13), plotted=False)
RISER_POINT = Layer(
    name="C-SSWR-RSRP-N",
    description="feet of risers with what they serve, not plotted",
    pen=Pen(weight=0.13),
    plotted=False,
)
FLOW = _layer("C-SSWR-FLOW-N", "way the water goes", 0.18)
LABEL = _layer("C-ANNO-TEXT-N", "lettering of the plan", 0.18)
MASK = _layer("C-ANNO-MASK-N", "masks under lettering", 0.13)
LEADER = _layer("C-ANNO-LEAD-N", "leaders of labels", 0.13)
CONTOUR = _layer("C-TOPO-MINR-E", "contour", 0.18, Dash.SHORT, Colour.GREY)
MAJOR_CONTOUR = _layer("C-TOPO-MAJR-E", "contour, every fifth", 0.50, Dash.SHORT, Colour.GREY)
SPOT = _layer("C-TOPO-SPOT-E", "surveyed level", 0.18)
GRID = _layer("C-ANNO-GRID-N", "site coordinates", 0.13)
FAILING = _layer("C-ANNO-CHCK-N", "place where a design check fails", 0.50)
MATCH = _layer("C-ANNO-MATC-N", "match line", 0.70, Dash.CENTRE)
DIMENSION = _layer("C-ANNO-DIMS-N", "dimensions", 0.13)
LEGEND = _layer("C-ANNO-LEGN-N", "legend", 0.18)
TABLE = _layer("C-ANNO-SCHD-N", "schedules and notes", 0.13)
TITLE = _layer("C-ANNO-TTLB-N", "title block and borders", 0.35)
VIEWPORT = Layer(
    name="C-ANNO-NPLT-N", description="viewport, not plotted", pen=Pen(weight=0.13), plotted=False
)

FEATURES: dict[FeatureKind, Layer] = {
    FeatureKind.BUILDING: _layer("C-BLDG-OTLN-E", "building", 0.50),
    FeatureKind.TANK: _layer("C-SSWR-TANK-E", "tank", 0.35),
    FeatureKind.WELL: _layer("C-WATR-WELL-E", "well", 0.35),
    FeatureKind.PROPERTY_LINE: _layer("V-PROP-LINE-E", "property line", 0.50, Dash.BOUNDARY),
    FeatureKind.WATER_LINE: _layer("C-WATR-PIPE-E", "water line", 0.35, Dash.CENTRE),
    FeatureKind.WATER_BODY: _layer("C-TOPO-WATR-E", "water body", 0.25, colour=Colour.BLUE),
    FeatureKind.TREE: _layer("C-TOPO-TREE-E", "tree", 0.25),
    FeatureKind.DRIVE: _layer("C-ROAD-OTLN-E", "drive", 0.25, Dash.CENTRE),
    FeatureKind.SLOPE: _layer("C-TOPO-SLOP-E", "slope", 0.25),
    FeatureKind.OTHER: _layer("C-SITE-OTHR-E", "other feature", 0.25),
}
"""The layer of each kind of feature."""

ALL: tuple[Layer, ...] = (
    *(
        BED,
        USABLE,
        ZONE_AREA,
        SETBACK,
        RUN,
        EMITTER,
        LOOP,
        BLANK,
        MANIFOLD,
        RETURN_MANIFOLD,
        RISER,
        SUPPLY,
        RETURN,
        ZONE,
        ZONE_VALVE,
        FLUSH_VALVE,
        AIR_VALVE,
        TRUNK_TEE,
        PUMP,
        FLOW,
        STAKE,
        RISER_POINT,
    ),
    *FEATURES.values(),
    *(CONTOUR, MAJOR_CONTOUR, SPOT, GRID, FAILING),
    *(LABEL, MASK, LEADER, DIMENSION, MATCH, LEGEND, TABLE, TITLE, VIEWPORT),
)
"""Every layer, in the order of the legend."""
