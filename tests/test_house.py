"""The house keeps its promises: README and help agree with the program, modules say what they are for, names of
the middle floors are SI."""

from __future__ import annotations

import ast
import doctest
import importlib
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer

from cli.main import app
from layout import __version__
from layout.model import FeatureKind, Pattern
from layout.readers.schema import DEFAULTS
from layout.readers.validate import known_keys

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
LIBRARY = sorted([*ROOT.glob("layout/**/*.py"), *ROOT.glob("cli/**/*.py")])
SOURCES = sorted([*LIBRARY, *ROOT.glob("tests/**/*.py")])
COMMANDS = {command.name: command for command in typer.main.get_group(app).commands.values()}  # type: ignore[attr-defined]


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


def rows_of(text: str) -> dict[str, list[str]]:
    """The rows of all tables in a Markdown text, by the first thing in code style of their first cell."""
    rows = {}
    for line in text.splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split(" | ")]
        if line.startswith("|") and (name := re.match(r"`([^`]+)`", cells[0])):
            rows[name[1]] = cells
    return rows


# --- README ---------------------------------------------------------------------------------------------


def test_the_two_set_up_commands() -> None:
    commands = re.findall(r"^    (python3 -m venv .*)$", README, re.MULTILINE)
    assert len(commands) == 2
    plan, tests = commands
    site = re.search(r"&& \.venv/bin/sinuate plan (\S+)$", plan)
    assert site is not None
    assert (ROOT / site[1]).is_file()
    assert tests.endswith("&& .venv/bin/python -m pytest -n 2")
    assert all("-m pip install -q -e " in command for command in commands)


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_has_help_and_stands_in_the_readme(name: str) -> None:
    command = COMMANDS[name]
    assert command.help
    takes = [part.metavar for part in command.params if part.param_type_name == "argument"]
    assert f"`{' '.join(['sinuate', name, *takes])}`" in README
    for option in (part for part in command.params if part.param_type_name == "option"):
        assert getattr(option, "help", None), f"{name} {option.name}"
        row = next((cells for key, cells in rows_of(README).items() if key.split()[0] in option.opts), None)
        assert row is not None, f"{name} {option.opts}"
        assert f"`{name}`" in row[1] or row[1] == "all", f"{name} {option.opts}"


def keys() -> Iterator[str]:
    tables = known_keys()
    for table, names in tables.items():
        for key in names:
            if table:
                yield f"{table}.{key}"
            elif key not in tables:
                yield key


@pytest.mark.parametrize("key", list(keys()))
def test_every_key_of_the_site_file_stands_in_the_readme(key: str) -> None:
    _, meaning, allowed, default = rows_of(README)[key]
    assert all((meaning, allowed, default))
    if key in DEFAULTS:
        said = [float(figure) for figure in re.findall(r"[\d.]+", default)]
        feet, metres = DEFAULTS[key]
        assert said == [
            *(feet if isinstance(feet, tuple) else [feet]),
            *(metres if isinstance(metres, tuple) else [metres]),
        ]


def test_no_key_stands_in_the_readme_that_is_not_read() -> None:
    tables = "|".join(name for name in known_keys() if name)
    files = r"(?!(?:csv|xlsx|pdf|xml|gpx)`)"
    found = set(re.findall(rf"`((?:{tables})\.{files}[a-z_]+)[`=]", README))
    assert {"stakeout.ties", "runs.spacing"} <= found <= set(keys()) - {"site.toml"}


@pytest.mark.parametrize(("key", "words"), [("feature.kind", FeatureKind), ("runs.pattern", Pattern)])
def test_every_word_that_a_key_may_hold_stands_in_the_readme(
    key: str, words: type[FeatureKind] | type[Pattern]
) -> None:
    assert re.findall(r"`([^`]+)`", rows_of(README)[key][2]) == [word.value for word in words]


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_links_lead_somewhere(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert target.startswith("https://") or (ROOT / target).exists(), target
    headings = {
        re.sub(r"[^\w\- ]", "", title).strip().lower().replace(" ", "-")
        for title in re.findall(r"^#+ (.*)$", text, re.MULTILINE)
    }
    assert set(re.findall(r"\]\(#([^)]+)\)", text)) <= headings


def test_the_picture_is_small_enough() -> None:
    pictures = [ROOT / name for name in re.findall(r"!\[[^\]]*\]\(([^)]+)\)", README)]
    assert pictures
    assert all(picture.stat().st_size < 400_000 for picture in pictures)


def test_versions_agree() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == __version__


# --- sources --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", SOURCES, ids=named)
def test_every_module_says_what_it_is_for(path: Path) -> None:
    assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))


def test_developers_are_told_of_every_part_of_the_library() -> None:
    parts = {path.stem for path in (ROOT / "layout").iterdir() if not path.name.startswith("_")}
    assert [part for part in sorted(parts) if not re.search(rf"\b{part}\b", DEVELOPERS)] == []


NOT_SI = re.compile(r"_(ft|inch|inches|mm|gal|gallons|gph|gpm|gpd|lph|lpm|psi|kpa|acres)$")
EDGES = ("layout/units.py", "layout/readers/", "layout/sheets/", "cli/")


def names_in(tree: ast.AST) -> Iterator[str]:
    """Every name that a module gives or uses."""
    for node in ast.walk(tree):
        for part in ("id", "attr", "arg", "name"):
            name = getattr(node, part, None)
            if isinstance(name, str):
                yield name


def test_names_with_other_units_than_si_stand_only_at_the_edges() -> None:
    found = [
        f"{named(path)}: {name}"
        for path in LIBRARY
        if not named(path).startswith(EDGES)
        for name in names_in(ast.parse(path.read_text(encoding="utf-8")))
        if NOT_SI.search(name.lower())
    ]
    assert found == []
    assert [name for name in names_in(ast.parse("def f(spacing_ft): pass")) if NOT_SI.search(name)]


def test_no_path_of_a_machine_stands_in_the_project() -> None:
    suffixes = {".py", ".toml", ".md", ".csv", ".expected"}
    folders = ("layout", "cli", "tests", "examples")
    texts = [ROOT / name for name in ("README.md", "DEVELOPERS.md", "pyproject.toml", ".ci/run")]
    texts += [path for folder in folders for path in (ROOT / folder).rglob("*") if path.suffix in suffixes]
    machine = re.compile(r"(?<![\w./*])/(home|root|work|tmp|mnt|opt|Users)/\w")
    found = [
        named(path) for path in texts if machine.search(path.read_text(encoding="utf-8", errors="replace"))
    ]
    assert found == []


@pytest.mark.parametrize(
    "path", [path for path in LIBRARY if ">>>" in path.read_text(encoding="utf-8")], ids=named
)
def test_examples_in_docstrings_run(path: Path) -> None:
    module = importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
    failed, tried = doctest.testmod(module)
    assert tried
    assert failed == 0


# --- docstrings: that each public name has one, ruff asks for --------------------------------------------

FIGURE = re.compile(r"\b(float|Array)\b")
UNIT = re.compile(
    r"\[[^\]]+\]|×|\b(SI|in spacings|shares?|counts?|numbers?|factors?|ratios?|scores?|costs?|degrees|times)\b",
    re.IGNORECASE,
)
"""A unit in brackets, or the word for a figure that has none."""
Named = ast.FunctionDef | ast.ClassDef


def public(tree: ast.AST, owner: str = "") -> Iterator[tuple[Named, str]]:
    """Public functions, classes and methods, with what is written in their docstring and in that of their class."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, Named) and not node.name.startswith("_"):
            text = ast.get_docstring(node) or ""
            yield node, f"{text}\n{owner}"
            if isinstance(node, ast.ClassDef):
                yield from public(node, text)


def gaps_of(node: Named, text: str) -> Iterator[str]:
    """What a docstring lacks."""
    own = (ast.get_docstring(node) or "").partition("\n\n")[2]
    if isinstance(node, ast.ClassDef):
        fields = [part for part in node.body if isinstance(part, ast.AnnAssign)]
        figures = " ".join(ast.unparse(part.annotation) for part in fields)
        beside = " ".join(ast.unparse(part) for part in node.body if isinstance(part, ast.Expr))
        if FIGURE.search(figures) and not UNIT.search(beside):
            yield "no unit"
        return
    given = [part for part in (*node.args.args, *node.args.kwonlyargs) if part.arg not in {"self", "cls"}]
    if "Parameters\n---" in own:
        yield from (f"{part.arg} is not told" for part in given if not re.search(rf"\b{part.arg}\b", own))
    takes = " ".join(ast.unparse(part.annotation) for part in given if part.annotation)
    gives = ast.unparse(node.returns) if node.returns else ""
    if (re.search(r"\bfloat\b", takes) or FIGURE.search(gives)) and not UNIT.search(text):
        yield "no unit"


@pytest.mark.parametrize("path", LIBRARY, ids=named)
def test_docstrings_tell_every_parameter_and_the_units_of_figures(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = [f"{node.name}: {gap}" for node, text in public(tree) for gap in gaps_of(node, text)]
    assert found == []


def test_a_docstring_with_gaps_is_found() -> None:
    text = '''
def front(distance: float, side: int) -> Array:
    """A front.

    Parameters
    ----------
    distance : float
    """
'''
    ((node, said),) = public(ast.parse(text))
    assert list(gaps_of(node, said)) == ["side is not told", "no unit"]
