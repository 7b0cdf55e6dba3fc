"""The exceptions of the library: one root, few children, each also the builtin it resembles.

An error means *cannot go on*. What merely deserves a look is a :class:`layout.model.Finding`.
Every error answers four questions: where (file), which (field), what is wrong (said), what to do (remedy).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing wrong with the input.

    Attributes
    ----------
    file : str
        The file, as the user named it; empty when the fault lies in no file.
    field : str
        The key of the site file (``runs.spacing``), or the place in a survey file (``line 12``).
    said : str
        What is wrong, with the value found and, where it has one, the coordinates.
    remedy : str
        What to write or do instead, as a sentence.
    """

    file: str = ""
    field: str = ""
    said: str
    remedy: str = ""

    def __str__(self) -> str:
        """One line: ``file: field: said. remedy``."""
        place = ": ".join(part for part in (self.file, self.field) if part)
        text = f"{place}: {self.said}" if place else self.said
        text = text if text.endswith((".", "!", "?")) else text + "."
        return f"{text} {self.remedy}".rstrip()


class LayoutError(Exception):
    """The root. Carries one or more faults; its text is one line a fault."""

    def __init__(self, *faults: Fault) -> None:
        self.faults = faults
        super().__init__("\n".join(str(fault) for fault in faults))


class ReadError(LayoutError, ValueError):
    """A file that cannot be read: missing, damaged, in a format or coding not understood."""


class SiteError(LayoutError, ValueError):
    """A site file that can be read but says something wrong or impossible."""


class FrameError(LayoutError, ValueError):
    """A coordinate reference system that is unknown, or not in the units of the site."""


class NoRoomError(LayoutError):
    """The site is sound, but no run can be laid on it."""


class NoBalanceError(LayoutError, ArithmeticError):
    """A network of pipes whose flows and pressures cannot be worked out."""


class SheetError(LayoutError, OSError):
    """An output that cannot be written."""
