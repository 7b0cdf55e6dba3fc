"""Heads that must be met: the one at which some figure of a network is as asked for."""

from __future__ import annotations

from collections.abc import Callable

from layout.errors import Fault, NoBalanceError
from layout.hydraulics.solve import Network, Solution, solve


def meet(
    held: Callable[[float], Network],
    wanted: Callable[[Solution], float],
    first: float,
    *,
    step: float,
    slack: float,
    start: Solution | None = None,
) -> tuple[float, Solution]:
    """Find the head at which a figure of the solution is 0, where the figure rises or falls with the head throughout.

    Parameters
    ----------
    held : callable
        Gives the network with a head [m] set in it.
    wanted : callable
        The figure.
    first : float
        Head to begin with [m].
    step : float
        What the head is changed by to begin with [m].
    slack : float
        Of the figure.
    start : Solution, optional
        To begin from.

    Returns
    -------
    (float, Solution)

    Raises
    ------
    NoBalanceError
        Where no such head is found.
    """
    x0 = first
    solution = solve(held(x0), start=start)
    f0 = wanted(solution)
    x1, bracket = x0 + step, [(x0, f0)]
    for _ in range(60):
        if abs(f0) <= slack:
            return x0, solution
        solution = solve(held(x1), start=solution)
        f1 = wanted(solution)
        if abs(f1) <= slack:
            return x1, solution
        bracket = _closer([*bracket, (x1, f1)])
        ahead = x1 - f1 * (x1 - x0) / (f1 - f0) if f1 != f0 else x1 + 2.0 * (x1 - x0)
        if len(bracket) == 2 and bracket[0][1] * bracket[1][1] < 0:
            low, high = sorted(point[0] for point in bracket)
            if not low < ahead < high:
                ahead = 0.5 * (low + high)
        else:
            ahead = min(max(ahead, x1 - 50.0 * abs(step)), x1 + 50.0 * abs(step))
        x0, f0, x1 = x1, f1, ahead
    raise NoBalanceError(
        Fault(said="no head is found that the field works at", remedy="Look at the sizes of pipe and tubing.")
    )


def _closer(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The tightest two points of which one lies under 0 and one over, or all."""
    under = [point for point in points if point[1] < 0]
    over = [point for point in points if point[1] > 0]
    if not under or not over:
        return points
    return [max(under, key=lambda point: point[1]), min(over, key=lambda point: point[1])]
