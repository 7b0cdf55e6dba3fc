"""Site files written for tests of the readers, and the sentences their faults are told in."""

from __future__ import annotations

from pathlib import Path

import pytest

from layout.errors import LayoutError
from layout.readers.sitefile import read_site

SITES = Path(__file__).parent / "sites"
BASE = """units = "ft"

[bed]
outline = [[0, 0], [100, 0], [100, 12], [0, 12]]

[tubing]
emitter_spacing = 2.0
emitter_flow = 0.6

[runs]
spacing = 2.0
"""


def site_file(folder: Path, text: str = BASE, **files: str) -> Path:
    for name, content in files.items():
        (folder / f"{name}.csv").write_text(content)
    path = folder / "site.toml"
    path.write_text(text)
    return path


def faults_of(path: Path, *settings: str) -> str:
    with pytest.raises(LayoutError) as caught:
        read_site(path, settings)
    return str(caught.value).replace(f"{path.parent}/", "")
