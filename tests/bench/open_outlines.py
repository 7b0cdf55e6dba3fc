"""Every pattern that `best` tries on a hundred outlines of an open dataset, held to the laws of a layout.

Run ``python tests/bench/open_outlines.py``; numbers pick some of the outlines, ``--patterns`` some of the patterns.
Prints what is wrong, and ends with 1 where anything is.
"""

from __future__ import annotations

import argparse
import sys
import time
import traceback
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from layout.model import Pattern
from tests.laid import PATTERNS
from tests.outlines import bed, broken_promises, outlines


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("numbers", nargs="*", help="outlines to lay out; all if none is named")
    parser.add_argument("--patterns", nargs="*", type=Pattern, default=list(PATTERNS))
    asked = parser.parse_args()
    wrong = laid = 0
    took = dict.fromkeys(asked.patterns, 0.0)
    for number in asked.numbers or outlines():
        site = bed(number)
        for pattern in asked.patterns:
            started = time.perf_counter()
            try:
                found = broken_promises(site, pattern)
            except Exception:  # whatever it is, the other outlines are to be seen as well
                found = ["crashed: " + traceback.format_exc(limit=-2).replace("\n", " ")]
            took[pattern] += time.perf_counter() - started
            laid += 1
            wrong += bool(found)
            for said in found:
                print(f"{number} {pattern}: {said}", flush=True)
    for pattern, seconds in took.items():
        print(f"{pattern}: {seconds:.0f} s")
    print(f"{laid} layouts, {wrong} of them with faults")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
