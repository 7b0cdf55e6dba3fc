"""Design checks, by subject: `tubing`, `runs`, `rows`, `laterals`, `ground`; `compare` judges a figure."""

from layout.checks.compare import JUDGEMENT
from layout.checks.design import design_checks
from layout.checks.rows import row_findings
from layout.checks.tubing import LISTED

__all__ = ["JUDGEMENT", "LISTED", "design_checks", "row_findings"]
