"""Mangled files through the whole command: exit 0, 1 or 2, no traceback, no set half written, in bounds.

Run with ``python tests/bench/mangled.py [KIND [COUNT [FIRST]]]``; without a kind all of them, 1,000 site files and
200 files of each other kind. Each is run in a process of its own, which is stopped at the limits below; what went wrong
is printed with the number that makes the file again, and number 0 of each kind is sound. With ``keep`` behind the
numbers the folders of those that went wrong are kept.
"""

from __future__ import annotations

import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from tests.bench import mangling  # noqa: E402 (the path comes first)

MOST_SECONDS = 60
"""Of processor time for one file."""
MOST_BYTES = 2 << 30
"""Of memory in use at once."""
MOST_WAIT = 600
"""By the clock: one that waits for what never comes uses no processor time; on a busy machine one may work on [s]."""
WORDS = (
    *('""', '"best"', '"../../etc/passwd"', '"/dev/null"', '"/dev/zero"', '"."', '"bed.csv#"', '"=1+2"'),
    *('"\\u0000"', '"nowhere.csv"', '"ft"', '"m"', '"us-ft"', "1979-05-27", "5", '"' + "x" * 3000 + '"'),
)
SITES = (
    ROOT / "tests/sites/every_key.toml",
    ROOT / "tests/sites/rectangle.toml",
    ROOT / "tests/sites/corner.toml",
)
_WORD = re.compile(r'"[^"\n]*"')


def mangled(text: str, chance: random.Random) -> bytes:
    """The text with one to three things done to it, most of them to values."""
    for _ in range(chance.randint(1, 3)):
        kind = chance.randrange(12)
        lines = text.split("\n")
        row = chance.randrange(len(lines))
        words = list(_WORD.finditer(text))
        if kind < 6 and mangling.NUMBER.search(text):
            text = mangling.one_number(text, chance)
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


def mangled_site(folder: Path, hurt: mangling.Hurt) -> list[str]:
    """A site file, for ``plan``."""
    text = hurt.chance.choice(SITES).read_text(encoding="utf-8")
    (folder / "site.toml").write_bytes(text.encode() if hurt.sound else mangled(text, hurt.chance))
    shutil.copy(ROOT / "tests/sites/every_key_prices.csv", folder)
    return ["plan", "site.toml"]


def odd_site(folder: Path, hurt: mangling.Hurt) -> list[str]:
    """A site file that is sound but for one to three figures, up to a hundred times as large or as small."""
    text = hurt.chance.choice(SITES).read_text(encoding="utf-8")
    for _ in range(0 if hurt.sound else hurt.chance.randint(1, 3)):
        text = mangling.scaled_number(text, hurt.chance)
    (folder / "site.toml").write_text(text, encoding="utf-8")
    shutil.copy(ROOT / "tests/sites/every_key_prices.csv", folder)
    return ["plan", "site.toml"]


KINDS: dict[str, Callable[[Path, mangling.Hurt], list[str]]] = {
    "site": mangled_site,
    "odd": odd_site,
    **mangling.KINDS,
}


def ran(folder: Path, command: list[str], *, seconds: int = MOST_SECONDS) -> tuple[int, float, int, str]:
    """Run a command in a folder, in a process of its own.

    Returns
    -------
    (int, float, int, str)
        Exit code, or minus the signal that stopped it; processor time [s]; greatest memory [bytes]; what it said.
    """
    handle, name = tempfile.mkstemp(prefix="said-")
    os.close(handle)
    said = Path(name)
    child = os.fork()
    if child == 0:
        with said.open("w") as file:
            os.dup2(file.fileno(), 1)
            os.dup2(file.fileno(), 2)
            resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
            resource.setrlimit(resource.RLIMIT_AS, (2 * MOST_BYTES, 2 * MOST_BYTES))
            signal.alarm(MOST_WAIT * seconds // MOST_SECONDS)
            os.chdir(folder)
            sys.argv = ["sinuate", *command]
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


def standing(folder: Path) -> dict[str, bytes]:
    """All files of a folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


WHOLE = {
    "plan": ("plan.dxf", "plan.pdf", "plan.png", "takeoff.csv", "takeoff.xlsx", "layout.json", "startup.pdf"),
    "takeoff": ("takeoff.csv", "takeoff.xlsx"),
    "asbuilt": ("asbuilt.pdf", "asbuilt.png", "asbuilt.json"),
}
"""What a command writes, whatever the site."""


def faults(
    command: list[str], before: dict[str, bytes], after: dict[str, bytes], ending: tuple[int, float, int, str]
) -> list[str]:
    """What is wrong with how a command went."""
    code, seconds, memory, said = ending
    wrong = []
    if code == -signal.SIGALRM:
        wrong.append(f"stopped after {MOST_WAIT} s by the clock, {seconds:.0f} s of the processor")
    elif code not in (0, 1, 2):
        wrong.append(f"exit {code}")
    if "unexpected error" in said or "Traceback" in said or "Warning" in said:
        wrong.append("a fault of the program: " + said.strip().split("\n")[-1][:200])
    if seconds > MOST_SECONDS * 0.98:
        wrong.append(f"{seconds:.0f} s")
    if memory > MOST_BYTES:
        wrong.append(f"{memory / 2**20:.0f} MiB")
    if code != 0 and after != before:
        wrong.append(f"left behind: {sorted(set(after) ^ set(before)) or 'a changed file'}")
    lacking = [name for name in WHOLE.get(command[0], ()) if f"plan/{name}" not in after]
    if code == 0 and lacking:
        wrong.append(f"not written: {lacking}")
    if any("/." in name or name.startswith(".") for name in after):
        wrong.append("left a temporary file")
    if code == 2 and len(said) > 30_000:
        wrong.append(f"says {len(said)} characters")
    return wrong


def run_kind(kind: str, count: int, first: int, *, keep: bool) -> int:
    """Run so many files of a kind, print what went wrong and a summary; how many went wrong."""
    codes: dict[int, int] = {}
    bad, longest, largest = 0, 0.0, 0
    begin = time.time()
    for number in range(first, first + count):
        hurt = mangling.Hurt(random.Random(f"{kind} {number}"), sound=number == 0)
        folder = Path(tempfile.mkdtemp(prefix="mangled-"))
        command = KINDS[kind](folder, hurt)
        before = standing(folder)
        ending = ran(folder, command)
        wrong = faults(command, before, standing(folder), ending)
        if hurt.sound and ending[0] != 0:
            wrong.append(f"a sound file ended in {ending[0]}: {ending[3][-300:]}")
        if not (wrong and keep):
            shutil.rmtree(folder)
        codes[ending[0]] = codes.get(ending[0], 0) + 1
        longest, largest = max(longest, ending[1]), max(largest, ending[2])
        if wrong:
            bad += 1
            print(f"{kind} {number}: {'; '.join(wrong)}{f' in {folder}' if keep else ''}", flush=True)
    print(
        f"{count} {kind} files, exit codes {dict(sorted(codes.items()))}, {bad} wrong, longest {longest:.0f} s, "
        f"most memory {largest / 2**20:.0f} MiB, {time.time() - begin:.0f} s in all",
        flush=True,
    )
    return bad


def main(words: list[str]) -> int:
    """Run what is asked for."""
    import layout.plan
    import layout.sheets.dxf
    import layout.sheets.plot
    import layout.sheets.write  # noqa: F401 (so that the processes need not)

    keep = "keep" in words
    words = [word for word in words if word != "keep"]
    kinds = [words[0]] if words else list(KINDS)
    bad = 0
    for kind in kinds:
        count = int(words[1]) if len(words) > 1 else 1000 if kind == "site" else 200
        bad += run_kind(kind, count, int(words[2]) if len(words) > 2 else 0, keep=keep)
    return int(bad > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
