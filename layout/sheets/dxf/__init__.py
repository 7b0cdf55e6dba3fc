"""Draws a drawing as a DXF: the plan at true scale in site coordinates, and its sheets in paper space."""

from layout.sheets.dxf.document import VERSION, write_dxf

__all__ = ["VERSION", "write_dxf"]
