"""Design checks by subject: `tubing`, `runs`, `rows`, `laterals`, `ground`, `left`; what none is of: `unchecked`."""

from layout.checks.compare import JUDGEMENT
from layout.checks.design import design_checks
from layout.checks.laterals import lateral_findings
from layout.checks.left import bare_findings, left_out_findings
from layout.checks.rows import row_findings
from layout.checks.tubing import LISTED
from layout.checks.unchecked import unchecked

__all__ = [
    "JUDGEMENT",
    "LISTED",
    "bare_findings",
    "design_checks",
    "lateral_findings",
    "left_out_findings",
    "row_findings",
    "unchecked",
]
