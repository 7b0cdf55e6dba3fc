"""Runs the command line in this process, as the installed command does."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import pytest


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a command left behind."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The one JSON document on stdout."""
        return json.loads(self.out)


@dataclass(frozen=True, slots=True)
class Command:
    """``sinuate`` with its arguments."""

    monkeypatch: pytest.MonkeyPatch
    capsys: pytest.CaptureFixture[str]

    def __call__(self, *arguments: object) -> Outcome:
        from cli.main import run

        self.monkeypatch.setattr("sys.argv", ["sinuate", *map(str, arguments)])
        self.capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            run()
        captured = self.capsys.readouterr()
        code = ended.value.code
        return Outcome(code if isinstance(code, int) else 0, captured.out, captured.err)
