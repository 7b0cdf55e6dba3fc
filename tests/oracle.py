"""An independent engine for pipe networks, fed with the very network of a bed, and what it makes of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from layout.hydraulics.solve import Network, Solution
from layout.plane import Array
from layout.units import FOOT

ENGINE_GRAVITY = 32.2 * FOOT
"""The engine's own, rounded."""
ENGINE_VISCOSITY = 1.1e-5 * FOOT**2
CUBIC_FEET = FOOT**3


@dataclass(frozen=True)
class Read:
    """Heads at nodes [m] and flows in pipes [m³/s], as the engine has them."""

    heads: Array
    flows: Array
    relative_error: float


def run(network: Network, found: Solution, folder: Path) -> Read:
    """Let the engine solve a network, with emitters that compensate as the water they take.

    Parameters
    ----------
    network : Network
        Fed by a fixed head, whose emitters all compensate and have their pressure, or are given as demands.
    found : Solution
        For what the emitters take.
    folder : Path
        For its report.
    """
    from epanet import toolkit as engine

    project = engine.createproject()
    engine.init(project, str(folder / "report.txt"), "", engine.CFS, engine.DW)
    engine.setoption(project, engine.ACCURACY, 1e-8)
    engine.setoption(project, engine.TRIALS, 500)
    engine.setoption(project, engine.SP_VISCOS, network.viscosity / ENGINE_VISCOSITY)
    taken = np.zeros(len(network.levels))
    np.add.at(taken, network.emitters, found.emitted)
    used = np.zeros(len(taken), dtype=bool)
    used[network.starts] = used[network.ends] = True

    def index(number: int) -> int:  # it changes as others are added: junctions come first
        return int(engine.getnodeindex(project, f"n{number}"))

    for number in np.flatnonzero(used).tolist():
        held = network.fixed[number]
        kind = engine.JUNCTION if np.isnan(held) else engine.RESERVOIR
        engine.addnode(project, f"n{number}", kind)
        level = network.levels[number] if np.isnan(held) else held
        engine.setnodevalue(project, index(number), engine.ELEVATION, level / FOOT)
        if taken[number]:
            engine.setnodevalue(project, index(number), engine.BASEDEMAND, taken[number] / CUBIC_FEET)
    pipes = []
    for number, (a, b) in enumerate(zip(network.starts.tolist(), network.ends.tolist(), strict=True)):
        pipe = engine.addlink(project, f"p{number}", engine.PIPE, f"n{a}", f"n{b}")
        engine.setpipedata(
            project,
            pipe,
            network.lengths[number] / FOOT,
            network.bores[number] / FOOT * 12.0,
            network.roughness / FOOT * 1000.0,
            network.fittings[number],
        )
        pipes.append(pipe)
    engine.openH(project)
    engine.initH(project, 0)
    engine.runH(project)
    heads = np.full(len(taken), np.nan)
    for number in np.flatnonzero(used).tolist():
        heads[number] = engine.getnodevalue(project, index(number), engine.HEAD) * FOOT
    flows = np.array([engine.getlinkvalue(project, pipe, engine.FLOW) for pipe in pipes]) * CUBIC_FEET
    error = engine.getstatistic(project, engine.RELATIVEERROR)
    engine.closeH(project)
    engine.close(project)
    engine.deleteproject(project)
    return Read(heads, flows, error)


@dataclass(frozen=True)
class ReadFile:
    """What the engine makes of a network written as text, in the units of the file: feet or metres, its flow unit."""

    heads: dict[str, float]
    levels: dict[str, float]
    flows: dict[str, float]
    emitted: dict[str, float]
    relative_error: float


def run_file(path: Path, folder: Path) -> ReadFile:
    """Let the engine read and solve a file."""
    from epanet import toolkit as engine

    project = engine.createproject()
    engine.open(project, str(path), str(folder / "report.txt"), "")
    engine.openH(project)
    engine.initH(project, 0)
    engine.runH(project)
    heads, levels, emitted = {}, {}, {}
    for node in range(1, engine.getcount(project, engine.NODECOUNT) + 1):
        name = engine.getnodeid(project, node)
        heads[name] = engine.getnodevalue(project, node, engine.HEAD)
        levels[name] = engine.getnodevalue(project, node, engine.ELEVATION)
        emitted[name] = engine.getnodevalue(project, node, engine.DEMAND)
    flows = {
        engine.getlinkid(project, link): engine.getlinkvalue(project, link, engine.FLOW)
        for link in range(1, engine.getcount(project, engine.LINKCOUNT) + 1)
    }
    error = engine.getstatistic(project, engine.RELATIVEERROR)
    engine.closeH(project)
    engine.close(project)
    engine.deleteproject(project)
    return ReadFile(heads, levels, flows, emitted, error)
