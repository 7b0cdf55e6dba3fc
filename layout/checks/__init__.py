"""Design checks, by subject: `tubing`, `runs`, `laterals`, `ground`; `compare` sets a figure against its limit."""

from layout.checks.compare import JUDGEMENT
from layout.checks.design import design_checks
from layout.checks.tubing import LISTED

__all__ = ["JUDGEMENT", "LISTED", "design_checks"]
