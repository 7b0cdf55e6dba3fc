"""Flows and heads in a network of pipes, emitters and a pump, by the global gradient method.

All heads are found together: each step balances the water at every node for losses and emitters taken as straight
lines about the step before (Todini and Pilati 1987), which is Newton's method for the whole network at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from layout.errors import Fault, NoBalanceError
from layout.hydraulics.laws import EmitterLaw, PumpCurve
from layout.hydraulics.losses import PLASTIC_ROUGHNESS, darcy_weisbach, fitting_loss, hazen_williams
from layout.model import need
from layout.plane import Array
from layout.units import STANDARD_GRAVITY

Numbers = NDArray[np.intp]
Friction = Literal["darcy-weisbach", "hazen-williams"]

WATER_SLACK = 1e-10
"""Water that may be missing at a node, over all that leaves the network."""
HEAD_SLACK = 1e-9
"""Head that may be missing along a pipe, over the greatest head in the network."""
MOST_STEPS = 25
"""Steps for one balance; most are found in five."""
MORE_STEPS = 60
"""The same where emitters are first made gentle."""
SHARES = (1.0,) * 6 + (0.5,) * 10 + (0.25,) * 16 + (0.1,)
"""How much of a step is then taken: less and less, the last share again and again."""
GENTLE = (1.0, 0.3, 0.1, 0.03, 0.01, 3e-3, 1e-3, 3e-4, 1e-4, 3e-5, 1e-5, 3e-6, 1e-6)
"""Where steps swing between a bed that is fed and one that is not, emitters are first made gentle, then less so."""
FIRST_VELOCITY = 0.3
"""Velocity in every pipe to begin with [m/s]."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Network:
    """Pipes between nodes, with emitters at nodes, fed at heads or by a pump.

    Attributes
    ----------
    levels : (n,) array
        Of the nodes [m].
    fixed : (n,) array
        Head held at a node [m]; NaN where it is to be found.
    starts, ends : (p,) arrays
        Nodes of the pipes.
    lengths, bores : (p,) arrays
        [m], over 0.
    fittings : (p,) array
        Velocity heads lost in the fittings of each pipe.
    emitters : (m,) array
        The node of each emitter.
    law : EmitterLaw or None
        None only without emitters.
    pump : (int, int) or None
        Node that the pump draws from, and node that it lifts to.
    curve : PumpCurve or None
        With a pump.
    demands : (n,) array or None
        Water taken at nodes whatever the head [m³/s].
    viscosity : float
        Kinematic [m²/s].
    friction : "darcy-weisbach" or "hazen-williams"
    roughness : float
        Of pipe, for Darcy and Weisbach [m].
    smoothness : float
        The coefficient C, for Hazen and Williams.
    gravity : float
        [m/s²].
    """

    levels: Array
    fixed: Array
    starts: Numbers
    ends: Numbers
    lengths: Array
    bores: Array
    fittings: Array
    emitters: Numbers
    law: EmitterLaw | None
    pump: tuple[int, int] | None = None
    curve: PumpCurve | None = None
    demands: Array | None = None
    viscosity: float
    friction: Friction = "darcy-weisbach"
    roughness: float = PLASTIC_ROUGHNESS
    smoothness: float = 140.0
    gravity: float = STANDARD_GRAVITY

    def __post_init__(self) -> None:
        nodes, pipes = len(self.levels), len(self.starts)
        need(len(self.fixed) == nodes, "every node has a level, and a head or none")
        need(
            all(len(part) == pipes for part in (self.ends, self.lengths, self.bores, self.fittings)),
            "every pipe has two ends, a length, a bore and its fittings",
        )
        need(bool((self.lengths > 0).all() and (self.bores > 0).all()), "pipes have a length and a bore")
        need(bool((self.fittings >= 0).all()), "fittings lose 0 or more")
        need(self.law is not None or not len(self.emitters), "emitters have a law")
        need((self.pump is None) == (self.curve is None), "a pump has a curve")
        need(self.viscosity > 0 and self.roughness > 0, "viscosity and roughness are over 0")

    def losses(self, flow: Array) -> tuple[Array, Array]:
        """Head lost along the pipes [m], and its slope over their flows."""
        if self.friction == "hazen-williams":
            lost, slope = hazen_williams(flow, self.lengths, self.bores, smoothness=self.smoothness)
        else:
            lost, slope = darcy_weisbach(
                flow,
                self.lengths,
                self.bores,
                viscosity=self.viscosity,
                roughness=self.roughness,
                gravity=self.gravity,
            )
        more, steeper = fitting_loss(flow, self.bores, self.fittings, gravity=self.gravity)
        return lost + more, slope + steeper


@dataclass(frozen=True, eq=False, kw_only=True)
class Solution:
    """What a network does.

    Attributes
    ----------
    heads : (n,) array
        At the nodes [m].
    flows : (p,) array
        In the pipes, below 0 from end to start [m³/s].
    emitted : (m,) array
        By each emitter [m³/s].
    pumped : float
        By the pump; 0 without one [m³/s].
    steps : int
    water_error : float
        Most water missing at any node [m³/s].
    head_error : float
        Most head missing along any pipe [m].
    order : (k,) array
        The nodes with heads to be found in the order in which they were eliminated, to begin from.
    """

    heads: Array
    flows: Array
    emitted: Array
    pumped: float
    steps: int
    water_error: float
    head_error: float
    order: Numbers


def solve(network: Network, *, start: Solution | None = None) -> Solution:
    """Find the flows and heads at which water balances at every node and head along every pipe.

    Parameters
    ----------
    network : Network
        Every node joined by pipes to one with a fixed head, or to the pump.
    start : Solution, optional
        Of the same network with other heads or another curve, to begin from.

    Returns
    -------
    Solution

    Raises
    ------
    NoBalanceError
        Where a part of the network has no head to hang on, or no balance is found: then there is no answer.
    """
    system = _System(network, None if start is None else start.order)
    with np.errstate(all="ignore"):  # what is no number is found by the errors
        state, taken, done = system.balanced(system.first(start), (1.0,) * MOST_STEPS)
        if not done:
            shares = SHARES + SHARES[-1:] * (MORE_STEPS - len(SHARES))
            state = system.first(None)
            for gentle in (*GENTLE, 0.0):
                state, more, done = system.balanced(state, shares, gentle=gentle)
                taken += more
    if done:
        water, head, _ = system.errors(state, 0.0)
        return Solution(
            heads=state.heads,
            flows=state.flows[: system.pipes],
            emitted=system.emitted(state.heads)[0],
            pumped=float(state.flows[-1]) if network.pump else 0.0,
            steps=taken,
            water_error=water,
            head_error=head,
            order=system.free,
        )
    raise NoBalanceError(
        Fault(
            said="flows and pressures do not come to a balance",
            remedy="Look for a length, diameter, flow or pressure of a size that cannot be.",
        )
    )


@dataclass(frozen=True, eq=False, slots=True)
class _State:
    """Heads of all nodes, flows of all pipes and of the pump after them."""

    heads: Array
    flows: Array


@dataclass(frozen=True, eq=False, slots=True)
class _Worked:
    """Losses of a state along pipes and pump, what its emitters give, and the slopes of both."""

    lost: Array
    slope: Array
    emitted: Array
    steep: Array


class _System:
    """The equations of a network, ready to be solved again and again."""

    def __init__(self, network: Network, order: Numbers | None) -> None:
        self.network = network
        self.pipes = len(network.starts)
        starts, ends = network.starts, network.ends
        if network.pump is not None:
            starts, ends = np.append(starts, network.pump[0]), np.append(ends, network.pump[1])
        self.starts, self.ends = starts, ends
        free = np.isnan(network.fixed)
        _all_held(free, starts, ends)
        self.free = np.flatnonzero(free)
        self.size = len(self.free)
        self.row = np.full(len(free), self.size)
        self.laid_out = order is not None and len(order) == self.size and bool(free[order].all())
        if order is not None and self.laid_out:
            self.free = order
            self._lay_out()
        else:
            self._number()
        self.known: tuple[_State, float, _Worked] | None = None

    def _number(self) -> None:
        """Number the heads to be found, in their order; all others stand in the row after them."""
        self.row[self.free] = np.arange(self.size)
        self.a, self.b = self.row[self.starts], self.row[self.ends]
        self.inner = np.flatnonzero((self.a < self.size) & (self.b < self.size))

    def _lay_out(self) -> None:
        """Find where each pipe and emitter stands in the matrix, once for all steps."""
        self._number()
        own, a, b = np.arange(self.size), self.a[self.inner], self.b[self.inner]
        keys, self.place = np.unique(
            np.concatenate((own, b, a)) * np.intp(self.size) + np.concatenate((own, a, b)),
            return_inverse=True,
        )
        self.indices = (keys % self.size).astype(np.int32)
        self.columns = np.searchsorted(keys, np.arange(self.size + 1) * np.intp(self.size)).astype(np.int32)
        self.laid_out = True

    def first(self, start: Solution | None) -> _State:
        """What to begin with."""
        network, curve = self.network, self.network.curve
        held = network.fixed[~np.isnan(network.fixed)]
        high = float(held.max()) if len(held) else 0.0
        flows = FIRST_VELOCITY * np.pi / 4.0 * network.bores**2
        pumped = 0.0
        if curve is not None:
            pumped = 0.5 * curve.most
            high += curve.head(pumped)
        heads = np.full(len(network.levels), high)
        if start is not None:
            heads, flows, pumped = start.heads, start.flows, start.pumped
        heads = np.where(np.isnan(network.fixed), heads, network.fixed)
        flows = flows if curve is None else np.append(flows, pumped)
        return _State(heads, flows)

    def balanced(
        self, state: _State, shares: Sequence[float], *, gentle: float = 0.0
    ) -> tuple[_State, int, bool]:
        """Take shares of steps until all balances: the state, the steps taken, and whether it does."""
        best, since = np.inf, 0
        for step, share in enumerate(shares, start=1):
            state = self.improved(state, gentle, share)
            water, head, scale = self.errors(state, gentle)
            reach = max(float(np.abs(state.heads).max()), 1.0)
            worst = max(water / (WATER_SLACK * scale), head / (HEAD_SLACK * reach))
            if not np.isfinite(worst):
                return state, step, False
            best, since = (worst, 0) if worst < 0.5 * best else (best, since + 1)
            # The last digits are rounding's: below the slack it goes on only as long as it gets better.
            if worst <= 1.0 and (worst < 1e-3 or since > 0):
                return state, step, True
        return state, len(shares), False

    def emitted(self, heads: Array, gentle: float = 0.0) -> tuple[Array, Array]:
        """What emitters give, and its slope over the head."""
        network = self.network
        if network.law is None:
            return np.zeros(0), np.zeros(0)
        return network.law.at(heads[network.emitters] - network.levels[network.emitters], gentle=gentle)

    def losses(self, flows: Array) -> tuple[Array, Array]:
        network = self.network
        lost, slope = network.losses(flows[: self.pipes])
        if network.curve is None:
            return lost, slope
        lift, fall = network.curve.lift(float(flows[-1]))
        return np.append(lost, -lift), np.append(slope, fall)

    def _missing(self, flows: Array, emitted: Array) -> Array:
        """Water that comes to each node less what leaves it [m³/s]."""
        count, network = len(self.network.levels), self.network
        missing = np.bincount(self.ends, flows, count) - np.bincount(self.starts, flows, count)
        missing = missing - np.bincount(network.emitters, emitted, count)
        return np.asarray(missing if network.demands is None else missing - network.demands)

    def _work(self, state: _State, gentle: float) -> _Worked:
        """Losses and emitters of a state, which a step asks for as well as the errors of the one before it."""
        if self.known is None or self.known[0] is not state or self.known[1] != gentle:
            lost, slope = self.losses(state.flows)
            self.known = (state, gentle, _Worked(lost, slope, *self.emitted(state.heads, gentle)))
        return self.known[2]

    def improved(self, state: _State, gentle: float, share: float) -> _State:
        """Take one step, or a share of it."""
        network, heads, worked = self.network, state.heads, self._work(state, gentle)
        ease = 1.0 / worked.slope
        flows = state.flows - ease * (worked.lost - (heads[self.starts] - heads[self.ends]))
        missing = self._missing(flows, worked.emitted)
        count = self.size + 1
        diagonal = np.zeros(count)
        for row, more in ((self.a, ease), (self.b, ease), (self.row[network.emitters], worked.steep)):
            diagonal += np.bincount(row, more, count)
        raised = np.zeros(len(heads))
        try:
            order, found = self._raised(diagonal[:-1], ease[self.inner], missing)
            raised[order] = found
        except RuntimeError:  # the matrix is singular
            raised[:] = np.nan
        flows = flows + ease * (raised[self.starts] - raised[self.ends])
        return _State(heads + share * raised, state.flows + share * (flows - state.flows))

    def _raised(self, diagonal: Array, ease: Array, missing: Array) -> tuple[Numbers, Array]:
        """Solve for the steps of the heads: the nodes, and the step of each.

        The first time the order in which nodes are eliminated is looked for; from then on the matrix is laid out in it.
        """
        from scipy.sparse import coo_array, csc_array
        from scipy.sparse.linalg import splu

        nodes = self.free
        values = np.concatenate((diagonal, -ease, -ease))
        shape = (self.size, self.size)
        if self.laid_out:
            data = np.bincount(self.place, values, len(self.indices))
            matrix, order = csc_array((data, self.indices, self.columns), shape=shape), "NATURAL"
        else:
            own, a, b = np.arange(self.size), self.a[self.inner], self.b[self.inner]
            rows, columns = np.concatenate((own, a, b)), np.concatenate((own, b, a))
            matrix, order = coo_array((values, (rows, columns)), shape=shape).tocsc(), "MMD_AT_PLUS_A"
        # The factors are so sparse that gathering columns into panels costs more than it saves.
        factors = splu(
            matrix,
            permc_spec=order,
            diag_pivot_thresh=0.0,
            relax=1,
            panel_size=1,
            options={"SymmetricMode": True},
        )
        found = factors.solve(missing[nodes])
        if not self.laid_out:
            self.free = nodes[np.argsort(factors.perm_c)]
            self._lay_out()
        return nodes, found

    def errors(self, state: _State, gentle: float) -> tuple[float, float, float]:
        """Most water and most head missing anywhere, and all water that leaves the network."""
        network, heads, flows = self.network, state.heads, state.flows
        worked = self._work(state, gentle)
        emitted = worked.emitted
        missing = np.abs(self._missing(flows, emitted)[self.free])
        gap = np.abs(worked.lost - (heads[self.starts] - heads[self.ends]))
        if network.pump is not None and flows[-1] < 0:
            gap[-1] = 0.0  # the check valve holds what head there is
        taken = float(np.abs(network.demands).sum()) if network.demands is not None else 0.0
        most = network.law.flow * len(network.emitters) if network.law is not None else 0.0
        fed = ~np.isnan(network.fixed)
        ways = fed[self.starts] | fed[self.ends]
        scale = max(float(emitted.sum()) + taken, float(np.abs(flows[ways]).max(initial=0.0)), 1e-3 * most)
        return float(missing.max(initial=0.0)), float(gap.max(initial=0.0)), max(scale, 1e-12)


def _all_held(free: NDArray[np.bool_], starts: Numbers, ends: Numbers) -> None:
    """Whether every node hangs on a fixed head.

    Raises
    ------
    NoBalanceError
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count = len(free)
    graph = coo_array((np.ones(len(starts)), (starts, ends)), shape=(count, count))
    _, part = connected_components(graph, directed=False)
    loose = np.setdiff1d(part[free], part[~free])
    if len(loose):
        said = f"{int(np.isin(part, loose).sum())} points of the network are joined to no water"
        raise NoBalanceError(
            Fault(said=said, remedy="Join every lateral to a manifold that a line leads to.")
        )
