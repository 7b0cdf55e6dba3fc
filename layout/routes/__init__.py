"""Lines between pump and manifolds.

`obstacles` is what they go round, `ground` all of that for one site, with the shortest ways through it; `trench` says
which lines lie together, `lanes` lays them side by side, `joints` gives their elbows room, `elbows` and `items` make of
them what is bought and dug;
`blocked` says what closes a way; `lay` joins all that, and `told` puts the outcome in checks and findings.
"""

from layout.routes.elbows import elbows_along
from layout.routes.lay import route_lines
from layout.routes.told import route_checks, route_findings

__all__ = ["elbows_along", "route_checks", "route_findings", "route_lines"]
