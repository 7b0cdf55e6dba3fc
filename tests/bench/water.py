"""Time of the solver of pipe networks as a ratio to an independent engine's own, and five hundred random beds.

Run ``python tests/bench/water.py``; with ``--beds 500`` it tells of the random beds instead. Medians of processor time.
The bed is of laterals of 100 emitters, dosed: compensating emitters, which the engine is given as the water they take.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

import numpy as np

from layout.errors import NoBalanceError
from layout.hydraulics.solve import Network, Solution, solve
from layout.units import FOOT
from tests.networks import COMPENSATING, Sketch, balance, random_bed

MOST = 5.0
"""Times the engine's time that the solver may take."""
SIZES = (300, 3_000, 30_000)
EMITTERS = 100
"""Of a lateral."""
ROUNDS = 5


def bed(emitters: int) -> Network:
    """Laterals of 100 ft and back, joined by return manifold, on a supply manifold wide enough to feed them."""
    sketch = Sketch()
    count = emitters // EMITTERS
    wide = 1.049 if count < 10 else 4.026 if count < 100 else 12.0
    source = sketch.node(0.0, 150.0)
    supply = [sketch.node(0.02 * k) for k in range(count)]
    back = [sketch.node(0.02 * k) for k in range(count)]
    sketch.pipe(source, supply[0], 60.0, wide)
    for k in range(count - 1):
        sketch.pipe(supply[k], supply[k + 1], 4.0, wide, k=0.6)
        sketch.pipe(back[k], back[k + 1], 4.0, wide, k=0.6)
    for k in range(count):
        here = supply[k]
        for n in range(EMITTERS):
            node = sketch.node(0.02 * k + 0.05 * min(n, EMITTERS - n))
            sketch.pipe(here, node, 2.0, 0.55, k=1.8 if n == 0 else 0.0)
            sketch.emitter(node)
            here = node
        sketch.pipe(here, back[k], 2.0, 0.55, k=1.8)
    return sketch.network(law=COMPENSATING)


@dataclass(frozen=True)
class Taken:
    """Time of the parts of a job [s]."""

    build: float
    solve: float
    read: float

    @property
    def whole(self) -> float:
        return self.build + self.solve + self.read


def engine(network: Network, found: Solution, folder: Path) -> tuple[Taken, float]:
    """The engine's times to be told of the network, to solve it, to be asked; the greatest difference of heads [m]."""
    from epanet import toolkit

    from tests.oracle import CUBIC_FEET, ENGINE_VISCOSITY

    taken = np.zeros(len(network.levels))
    np.add.at(taken, network.emitters, found.emitted)
    begun = time.process_time()
    project = toolkit.createproject()
    toolkit.init(project, str(folder / "report.txt"), "", toolkit.CFS, toolkit.DW)
    toolkit.setoption(project, toolkit.ACCURACY, 1e-6)
    toolkit.setoption(project, toolkit.TRIALS, 500)
    toolkit.setoption(project, toolkit.SP_VISCOS, network.viscosity / ENGINE_VISCOSITY)
    held = np.flatnonzero(~np.isnan(network.fixed)).tolist()
    for number, level in enumerate((network.levels / FOOT).tolist()):
        node = toolkit.addnode(
            project, f"n{number}", toolkit.RESERVOIR if number in held else toolkit.JUNCTION
        )
        if number in held:
            toolkit.setnodevalue(project, node, toolkit.ELEVATION, network.fixed[number] / FOOT)
        else:
            toolkit.setjuncdata(project, node, level, taken[number] / CUBIC_FEET, "")
    for number in range(len(network.starts)):
        pipe = toolkit.addlink(
            project, f"p{number}", toolkit.PIPE, f"n{network.starts[number]}", f"n{network.ends[number]}"
        )
        toolkit.setpipedata(
            project,
            pipe,
            network.lengths[number] / FOOT,
            network.bores[number] / FOOT * 12.0,
            network.roughness / FOOT * 1000.0,
            network.fittings[number],
        )
    built = time.process_time()
    toolkit.openH(project)
    toolkit.initH(project, 0)
    toolkit.runH(project)
    solved = time.process_time()
    names = [toolkit.getnodeid(project, node) for node in range(1, len(network.levels) + 1)]
    heads = np.full(len(network.levels), np.nan)
    for node, name in enumerate(names, start=1):
        heads[int(name[1:])] = toolkit.getnodevalue(project, node, toolkit.HEAD) * FOOT
    read = time.process_time()
    toolkit.closeH(project)
    toolkit.close(project)
    toolkit.deleteproject(project)
    off = float(np.abs(heads - found.heads).max())
    return Taken(built - begun, solved - built, read - solved), off


def timed(job: Callable[[], object]) -> float:
    begun = time.process_time()
    job()
    return time.process_time() - begun


def ratios() -> bool:
    """Print the table; whether all ratios keep the promise."""
    print(" emitters steps   solver   engine of it run  ratio to run  heads off")
    good = True
    with tempfile.TemporaryDirectory() as name:
        for size in SIZES:
            network = bed(size)
            found = solve(network)  # and all that is imported on the way
            ours = statistics.median(timed(lambda net=network: solve(net)) for _ in range(ROUNDS))
            runs = [engine(network, found, Path(name)) for _ in range(ROUNDS)]
            whole = statistics.median(taken.whole for taken, _ in runs)
            alone = statistics.median(taken.solve for taken, _ in runs)
            ratio = ours / whole
            good = good and ratio <= MOST
            print(
                f"{size:>9,} {found.steps:>5} {ours:>7.4f}s {whole:>7.4f}s {alone:>8.4f}s {ratio:>6.2f} "
                f"{ours / alone:>6.1f}  {runs[0][1]:.1e} m"
            )
    print(f"The solver may take {MOST:g} times the engine's time: {'kept' if good else 'BROKEN'}")
    return good


def beds(count: int) -> bool:
    """Solve random beds, slopes and pumps: each comes to a balance, or says why not."""
    worst, said, begun = 0.0, 0, time.process_time()
    for number in range(count):
        try:
            worst = max(worst, balance(random_bed(number)))
        except NoBalanceError as error:
            said += 1
            print(f"bed {number}: {error}")
    print(
        f"{count} random beds: {count - said} balanced, {said} said why not; water missing at the worst node "
        f"{worst:.1e} of the flow; {time.process_time() - begun:.1f} s"
    )
    return worst < 1e-9


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--beds", type=int, default=0, metavar="COUNT", help="random beds instead of ratios")
    count = asked.parse_args().beds
    sys.exit(0 if (beds(count) if count else ratios()) else 1)


if __name__ == "__main__":
    main()
