"""The crew's sheets: what is staked from each, to scale, with the table beside it, in big type.

`stretches` parts the stakes into sheets, `paper` has what all sheets share, `picture` draws, `strips` cuts long ones,
`table` and `notes` letter a sheet, `write` binds them. Everything is black on white, and nothing is lettered smaller
than ten point.
"""

from layout.sheets.crew.write import crew_sheets, write_stakeout

__all__ = ["crew_sheets", "write_stakeout"]
