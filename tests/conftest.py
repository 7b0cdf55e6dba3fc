"""What all tests share: the builders beside them can be imported as ``tests.fields`` from anywhere."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.command import Command
from tests.examples import Example, shared

# The same cases on every machine, so that a run is green or red for the change alone; others are looked for by
# `pytest --hypothesis-profile other`, and what they find becomes an `@example`. None has a deadline by the clock, which
# a busy machine would miss.
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("other", derandomize=False, print_blob=True, deadline=None)
settings.load_profile("same")


@pytest.fixture
def sinuate(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """The command line, run in this process."""
    return Command(monkeypatch, capsys)


@pytest.fixture(scope="session")
def example(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Example]:
    """Gives an example site by name, planned once for all processes of a test run."""
    own = tmp_path_factory.getbasetemp()
    return shared(own.parent if "PYTEST_XDIST_WORKER" in os.environ else own)
