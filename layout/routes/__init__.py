"""Lines between pump and manifolds.

`obstacles` is what they go round, `ways` the shortest way through it, `ground` both for one site; `lanes` lays pipes
side by side, `elbows` turns bends into fittings, `blocked` says what closes a way; `lay` joins them, and `told` puts
the outcome in checks and findings.
"""

from layout.routes.elbows import elbows_along
from layout.routes.lay import route_lines
from layout.routes.told import route_checks, route_findings

__all__ = ["elbows_along", "route_checks", "route_findings", "route_lines"]
