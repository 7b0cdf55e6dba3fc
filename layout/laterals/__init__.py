"""Runs to laterals: `join` ties runs end to end, `groups` finds how many, `loops` lays loops."""

from layout.laterals.groups import best_groups
from layout.laterals.join import join_runs

__all__ = ["best_groups", "join_runs"]
