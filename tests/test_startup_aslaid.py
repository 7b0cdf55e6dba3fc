"""The flow to expect of a field as it was laid, from what was kept of that."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from layout.errors import ReadError
from layout.readers.flowlog import MOST_BYTES, read_laid_flows
from layout.startup.expected import Expected, as_laid
from tests.test_startup_log import FEET, GPM, MINE

BUILT = '{"format": "sinuate-asbuilt/1", "units": "ft", "zones": [{"zone": %s, "complete": %s, "laid": {"flow": %s}}]}'


TOTALS = '{"format": "sinuate-asbuilt/1", "units": "ft", "complete": %s, "totals": {"laid": {"flow": %s}}, "zones": %s}'


def test_the_flow_of_the_field_as_laid(tmp_path: Path) -> None:
    path = tmp_path / "asbuilt.json"
    for zone in ("1", '"Z1"'):
        path.write_text(BUILT % (zone, "true", "3.2"))
        assert read_laid_flows(path, [1]) == pytest.approx({1: 3.2 * GPM})
    flush = Expected(zone=1, doing="flushing", flow=7.5 * GPM, band=0.1)
    laid = as_laid([MINE, flush], {1: 3.05 * GPM}, {1: 3.2 * GPM})
    assert [item.flow / GPM for item in laid] == pytest.approx([3.2, 7.65])
    path.write_text(TOTALS % ("true", "3.2", "null"))
    assert read_laid_flows(path, [1]) == pytest.approx({1: 3.2 * GPM})
    assert all(item.laid for item in laid)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (None, "is not there"),
        ("{", "cannot be read as JSON"),
        ("[]", "is no as-built of this program"),
        ('{"format": "other/1"}', "is no as-built of this program"),
        ('{"format": "sinuate-asbuilt/1"}', "does not say its units"),
        (BUILT % ("2", "true", "3.2"), "does not tell the flow of Z1"),
        (BUILT % ("1", "true", "-3.2"), "does not tell the flow of Z1"),
        (BUILT % ("1", "true", "9" * 400), "does not tell the flow of Z1"),
        (BUILT % ("1", "true", "1e999"), "does not tell the flow of Z1"),
        (BUILT % ("1", "true", "NaN"), "does not tell the flow of Z1"),
        (BUILT % ("1", "false", "3.2"), "not measured whole"),
        (BUILT % ('"north"', "true", "3.2"), "does not tell the flow of Z1"),
        (TOTALS % ("false", "3.2", "[]"), "not measured whole, so the flow is not known"),
        (TOTALS % ("true", "0", "[]"), "does not tell the flow of Z1"),
        (TOTALS % ("true", "null", '[3, "Z1", null, [], {"zone": [1]}]'), "does not tell the flow of Z1"),
        ("[" * 100_000, "cannot be read as JSON"),
        (" " * (MOST_BYTES + 1), "is too large for an as-built"),
    ],
)
def test_an_as_built_that_does_not_tell_it_is_refused(text: str | None, why: str, tmp_path: Path) -> None:
    path = tmp_path / "asbuilt.json"
    if text is not None:
        path.write_text(text)
    with pytest.raises(ReadError, match=why) as raised:
        read_laid_flows(path, [1])
    assert "sinuate asbuilt" in raised.value.faults[0].remedy


@pytest.mark.parametrize(
    ("lengths", "flow", "why"),
    [
        ({"R1": 50.0, "R2": 48.0}, 3.05, ""),
        ({"R1": 50.0, "R2": 48.1}, 3.05, "the planned length of R2 is 48.00 ft there, 48.10 ft here"),
        ({"R1": 50.0}, 3.05, "its plan has 2 runs, this one 1; R2 is in one of them only"),
        ({"R1": 50.0, "R2": 48.0}, 6.1, "the planned flow of Z1 is 3.05 gal/min there, 6.10 here"),
    ],
)
def test_an_as_built_of_another_layout_is_refused(
    lengths: dict[str, float], flow: float, why: str, tmp_path: Path
) -> None:
    path = tmp_path / "asbuilt.json"
    runs = [{"name": name, "planned": {"length": length}} for name, length in (("R1", 50.0), ("R2", 48.0005))]
    zones = [{"zone": "Z1", "planned": {"flow": 3.05}, "laid": {"flow": 3.2}}]
    told = {"format": "sinuate-asbuilt/1", "units": "ft", "runs": runs, "zones": zones}
    path.write_text(json.dumps(told))
    metres = {name: length * FEET.length for name, length in lengths.items()}
    if not why:
        assert read_laid_flows(path, [1], lengths=metres, flows={1: flow * GPM})[1] == pytest.approx(
            3.2 * GPM
        )
        return
    with pytest.raises(ReadError, match=f"is of another layout: {why}") as raised:
        read_laid_flows(path, [1], lengths=metres, flows={1: flow * GPM})
    assert "sinuate asbuilt SITE POINTS` anew" in raised.value.faults[0].remedy
