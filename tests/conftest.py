"""What all tests share: the builders beside them can be imported as ``tests.fields`` from anywhere."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
