"""Mangled site files through the whole ``plan``: exit 0, 1 or 2, no traceback, no set half written, in bounds.

Run with ``python tests/bench/mangled.py [COUNT] [FIRST]``. Each file is planned in a process of its own, which is
stopped at the limits below; what went wrong is printed with the number that makes the file again.
"""

from __future__ import annotations

import os
import random
import re
import resource
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

MOST_SECONDS = 60
"""Of processor time for one file."""
MOST_BYTES = 2 << 30
"""Of memory in use at once."""
NUMBERS = (
    *("0", "-0.0", "-1", "1e-300", "1e300", "1e18", "nan", "inf", "-inf", "1e-9", "0.001", "3", "7.5", "100"),
    *("99999", "2147483648", "9223372036854775808", "0x10", "1_000", "true", '"5"', "[]", "{}", "[1, 2]"),
)
WORDS = (
    *('""', '"best"', '"../../etc/passwd"', '"/dev/null"', '"/dev/zero"', '"."', '"bed.csv#"', '"=1+2"'),
    *('"\\u0000"', '"nowhere.csv"', '"ft"', '"m"', '"us-ft"', "1979-05-27", "5", '"' + "x" * 3000 + '"'),
)
SITES = (
    ROOT / "tests/sites/every_key.toml",
    ROOT / "tests/sites/rectangle.toml",
    ROOT / "tests/sites/corner.toml",
)
_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?![\w.])")
_WORD = re.compile(r'"[^"\n]*"')


def mangled(text: str, chance: random.Random) -> bytes:
    """The text with one to three things done to it, most of them to values."""
    for _ in range(chance.randint(1, 3)):
        kind = chance.randrange(12)
        lines = text.split("\n")
        row = chance.randrange(len(lines))
        numbers, words = list(_NUMBER.finditer(text)), list(_WORD.finditer(text))
        if kind < 3 and numbers:
            found = chance.choice(numbers)
            text = text[: found.start()] + chance.choice(NUMBERS) + text[found.end() :]
        elif kind < 6 and numbers:
            found = chance.choice(numbers)
            scaled = float(found[0]) * 10 ** chance.uniform(-2, 2) * chance.choice((1, 1, 1, -1))
            text = text[: found.start()] + f"{scaled:.6g}" + text[found.end() :]
        elif kind == 6 and words:
            found = chance.choice(words)
            text = text[: found.start()] + chance.choice(WORDS) + text[found.end() :]
        elif kind == 7:
            del lines[row]
            text = "\n".join(lines)
        elif kind == 8:
            lines.insert(chance.randrange(len(lines)), lines[row])
            text = "\n".join(lines)
        elif kind == 9:
            at = chance.randrange(len(text) + 1)
            text = text[:at] + chance.choice("[]{}=\"'#,.\n\x00é") + text[at:]
        elif kind == 10:
            at = chance.randrange(len(text) + 1)
            text = text[:at] + text[at + chance.randint(1, 20) :]
        else:
            chance.shuffle(lines)
            text = "\n".join(lines)
    return text.encode(chance.choice(("utf-8", "utf-8", "utf-8", "utf-16", "cp1252")), errors="replace")


def planned(folder: Path) -> tuple[int, float, int, str]:
    """Plan ``site.toml`` of a folder in a process of its own.

    Returns
    -------
    (int, float, int, str)
        Exit code, or minus the signal that stopped it; processor time [s]; greatest memory [bytes]; what it said.
    """
    said = folder / "said.txt"
    child = os.fork()
    if child == 0:
        with said.open("w") as file:
            os.dup2(file.fileno(), 1)
            os.dup2(file.fileno(), 2)
            resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
            sys.argv = ["sinuate", "plan", str(folder / "site.toml")]
            code = 99
            try:
                from cli.main import run

                run()
                code = 0
            except SystemExit as stop:
                code = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
            finally:
                sys.stdout.flush()
                sys.stderr.flush()
                os._exit(code)
    _, status, used = os.wait4(child, 0)
    code = os.waitstatus_to_exitcode(status)
    text = said.read_text(errors="replace")
    said.unlink()
    return code, used.ru_utime + used.ru_stime, used.ru_maxrss * 1024, text


def faults(folder: Path, code: int, seconds: float, memory: int, said: str) -> list[str]:
    """What is wrong with how a plan went."""
    wrong = []
    if code not in (0, 1, 2):
        wrong.append(f"exit {code}")
    if "unexpected error" in said or "Traceback" in said:
        wrong.append("a fault of the program: " + said.strip().split("\n")[-1][:200])
    if seconds > MOST_SECONDS * 0.98:
        wrong.append(f"{seconds:.0f} s")
    if memory > MOST_BYTES:
        wrong.append(f"{memory / 2**20:.0f} MiB")
    there = sorted(path.name for path in folder.iterdir())
    if code != 0 and there != ["site.toml"]:
        wrong.append(f"left behind: {there}")
    if code == 2 and len(said) > 30_000:
        wrong.append(f"says {len(said)} characters")
    return wrong


def main(count: int, first: int) -> int:
    """Plan so many files, print what went wrong and a summary."""
    import layout.plan
    import layout.sheets.dxf
    import layout.sheets.plot
    import layout.sheets.write  # noqa: F401 (so that the processes need not)

    codes: dict[int, int] = {}
    bad, most = 0, 0.0
    begin = time.time()
    for number in range(first, first + count):
        chance = random.Random(f"site {number}")
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "site.toml").write_bytes(
                mangled(chance.choice(SITES).read_text(encoding="utf-8"), chance)
            )
            code, seconds, memory, said = planned(folder)
            wrong = faults(folder, code, seconds, memory, said)
        codes[code] = codes.get(code, 0) + 1
        most = max(most, seconds)
        if wrong:
            bad += 1
            print(f"{number}: {'; '.join(wrong)}", flush=True)
    print(
        f"{count} files, exit codes {codes}, {bad} wrong, longest {most:.0f} s, {time.time() - begin:.0f} s in all"
    )
    return int(bad > 0)


if __name__ == "__main__":
    given = [int(text) for text in sys.argv[1:3]]
    sys.exit(main(given[0] if given else 1000, given[1] if len(given) > 1 else 0))
