"""What all tests share: the builders beside them can be imported as ``tests.fields`` from anywhere."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.command import Command


@pytest.fixture
def sinuate(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """The command line, run in this process."""
    return Command(monkeypatch, capsys)
