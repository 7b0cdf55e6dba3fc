"""Geometric layout of drip-dispersal runs in irregular beds. Start at :func:`layout.plan.plan_field`."""

__version__ = "0.1.0"
