"""``sinuate compare``: the table, the document, the pictures, and what the plan takes of it."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from PIL import Image

from layout.coverage import MEASURE
from tests.command import Command

SITES = Path(__file__).parent / "sites"
CORNER, RECTANGLE = SITES / "corner.toml", SITES / "rectangle.toml"


@pytest.fixture(scope="module")
def compared(tmp_path_factory: pytest.TempPathFactory) -> SimpleNamespace:
    """One bed, compared once as text with pictures and once as a document."""
    with pytest.MonkeyPatch.context() as patch:
        run = SimpleNamespace(folder=tmp_path_factory.mktemp("compare") / "deep" / "here")
        capture = _Capture()
        patch.setattr("sys.stdout", capture.out)
        patch.setattr("sys.stderr", capture.err)
        run.text = capture.run(patch, "compare", CORNER, "--out", run.folder)
        run.document = capture.run(patch, "compare", CORNER, "--json").json
    return run


class _Capture:
    """Stands in for the fixture that only a single test may use."""

    def __init__(self) -> None:
        import io

        self.out, self.err = io.StringIO(), io.StringIO()

    def readouterr(self) -> SimpleNamespace:
        found = SimpleNamespace(out=self.out.getvalue(), err=self.err.getvalue())
        for stream in (self.out, self.err):
            stream.seek(0)
            stream.truncate()
        return found

    def run(self, patch: pytest.MonkeyPatch, *arguments: object) -> Any:
        return Command(patch, self)(*arguments)  # type: ignore[arg-type]


def rows(out: str) -> list[list[str]]:
    """The rows of the table, each in its words."""
    lines = [line.split() for line in out.splitlines() if line.startswith("  ")]
    return lines[1:]


def test_the_table_has_every_candidate_the_best_first(compared: SimpleNamespace) -> None:
    found = rows(compared.text.out)
    candidates = compared.document["candidates"]
    assert compared.text.code == 0
    assert len(found) == len(candidates) >= 4
    assert found[0][0] == "best"
    assert [row[0] for row in found[1:]] == [str(place) for place in range(2, len(found) + 1)]
    assert {item["pattern"] for item in candidates} >= {"left", "right", "centre", "even"}
    scores = [item["score"] for item in candidates]
    assert scores[1:] == sorted(scores[1:])
    for row, item in zip(found, candidates, strict=True):
        assert row[1] == item["pattern"]
        first = "-" if item["first"] is None else f"{item['first']:.2f}"
        assert " ".join(row).startswith(
            f"{row[0]} {item['pattern']} {item['follows']} {first} {item['rows']} "
        )
        assert row[-1] == f"{item['score']:.2f}"
        assert f"{item['tubing']:,.2f}" in row
        assert f"{item['dry_max']:.2f}" in row
        assert f"{100 * item['coverage']:.1f}" in row


def test_what_the_score_is_and_how_to_choose_is_told(compared: SimpleNamespace) -> None:
    out = compared.text.out
    assert MEASURE[1:] in out
    assert "judgement" in out
    assert "runs.pattern" in out


def test_the_document(compared: SimpleNamespace) -> None:
    made = compared.document
    assert made["format"] == "sinuate-compare/1"
    assert (made["units"], made["asked"]) == ("ft", "best")
    assert [item["best"] for item in made["candidates"]].count(True) == 1
    assert made["best"] == made["candidates"][0]["pattern"]
    for item in made["candidates"]:
        assert 0 < item["coverage"] <= 1
        assert 0 <= item["fed_at_end"] <= 1
        assert item["runs"] >= item["rows"] > 0
        assert item["spacing_min"] <= item["spacing_p95"] <= item["spacing_max"]


def test_the_pictures(compared: SimpleNamespace) -> None:
    assert [path.name for path in compared.folder.iterdir()] == ["compare.png"]
    with Image.open(compared.folder / "compare.png") as image:
        assert image.size == (3400, 2200)
    assert f"Written: {compared.folder / 'compare.png'}" in compared.text.out


def test_the_plan_takes_the_best_one(compared: SimpleNamespace, sinuate: Command, tmp_path: Path) -> None:
    plan = sinuate("plan", CORNER, "--json", "--out", tmp_path).json
    best = compared.document["candidates"][0]
    assert plan["pattern"] == best["pattern"]
    for key in ("tubing", "score", "coverage", "dry_max", "follows"):
        assert plan["candidates"][0][key] == best[key]


@pytest.mark.parametrize(("good", "follows"), [(0.25, "rectangle"), (10.0, "outline")])
def test_best_is_what_the_plan_takes_even_where_it_looks_no_further(
    sinuate: Command, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, good: float, follows: str
) -> None:
    """Straight rows suit a T best; but where its own sides count as good enough, a plan never tries them."""
    monkeypatch.setattr("layout.trials.GOOD", good)
    bed = "[[0, 0], [60, 0], [60, 12], [34, 12], [34, 40], [22, 40], [22, 12], [0, 12]]"
    setting = ("--set", f"bed.outline={bed}")
    first, *others = sinuate("compare", RECTANGLE, *setting, "--json").json["candidates"]
    assert {item["follows"] for item in others} == {"outline", "rectangle"}
    assert first["follows"] == follows
    scores = [item["score"] for item in others]
    assert scores == sorted(scores)
    assert (first["score"] > scores[0]) == (follows == "outline")
    plan = sinuate("plan", RECTANGLE, *setting, "--json", "--out", tmp_path).json
    assert (plan["pattern"], plan["totals"]["tubing"]) == (first["pattern"], first["tubing"])


def test_nothing_is_written_without_a_folder(
    sinuate: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = tmp_path / "site.toml"
    site.write_text(RECTANGLE.read_text(encoding="utf-8"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    done = sinuate("compare", site, "--set", "runs.pattern=left")
    assert [path.name for path in tmp_path.iterdir()] == ["site.toml"]
    assert "Nothing is written; --out FOLDER" in done.out
    # A rectangle that is served by all patterns alike: the one the site file asks for is named.
    assert 'The site file asks for "left"' in done.out
    assert len(rows(done.out)) >= 4


def test_a_narrow_terminal_has_two_tables(sinuate: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    from cli import say

    shown: list[tuple[tuple[str, ...], int]] = []
    monkeypatch.setattr(say, "table", lambda headings, found: shown.append((tuple(headings), len(found))))
    sinuate("compare", RECTANGLE)
    ((all_headings, count),) = shown
    shown.clear()
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    sinuate("compare", RECTANGLE)
    (first, some), (second, others) = shown
    assert some == others == count
    assert first + second[2:] == all_headings
    assert second[:2] == first[:2]
    shown.clear()
    monkeypatch.setenv("COLUMNS", "200")
    sinuate("compare", RECTANGLE)
    assert [headings for headings, _ in shown] == [all_headings]


def test_a_bed_without_room_and_wrong_input(sinuate: Command, tmp_path: Path) -> None:
    out = tmp_path / "out"
    done = sinuate("compare", RECTANGLE, "--set", "runs.shortest=500", "--out", out)
    assert (done.code, done.out) == (1, "")
    assert "no run of 500 ft fits" in done.err
    done = sinuate("compare", RECTANGLE, "--set", "runs.spacing=0", "--out", out, "--json")
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("--set runs.spacing=0: runs.spacing")
    assert sinuate("compare", tmp_path / "none.toml", "--out", out).code == 2
    assert not out.exists()


def test_a_folder_that_cannot_be_made_is_told(sinuate: Command, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    done = sinuate("compare", RECTANGLE, "--out", tmp_path / "file")
    assert (done.code, done.out) == (2, "")
    assert "is a file" in done.err
    assert (tmp_path / "file").read_text(encoding="utf-8") == "mine"
