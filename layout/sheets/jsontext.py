"""What the JSON documents share: how a value is written, and what is told of a check."""

from __future__ import annotations

import json
from typing import Any

from layout.model import Check
from layout.sheets.figures import of_check
from layout.units import UnitSet

Json = Any


def dumped(value: Json) -> str:
    """Write a value on one line; what is no number is an error."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def check_entry(check: Check, units: UnitSet) -> Json:
    """A check for programs, its value and limit in site units."""
    return {
        "name": check.name,
        "value": of_check(check, check.value, units),
        "limit": of_check(check, check.limit, units),
        "ok": check.ok,
        "source": check.source,
        "sense": check.sense,
        "place": check.place,
    }
