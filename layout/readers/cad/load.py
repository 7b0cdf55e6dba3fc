"""Opens a drawing: the CAD library's reader, its recovery where that loses nothing, and else a fault with the line.

Recovery alone is not to be trusted: of a file cut off in the middle it makes a drawing without entities and calls it
sound. What it gives is taken only where the text of the file shows that all entities came through.
"""

from __future__ import annotations

import io
import logging
import re
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from layout.errors import Fault, ReadError
from layout.readers.document import shortened
from layout.readers.points import bytes_of

_BINARY = b"AutoCAD Binary DXF"
_REMEDY = "Open it in a CAD program, check and repair it there, and save it again as DXF."
_PARTS_OF_OTHERS = {
    "SECTION",
    "ENDSEC",
    "EOF",
    "TABLE",
    "ENDTAB",
    "VERTEX",
    "SEQEND",
    "ATTRIB",
    "BLOCK",
    "ENDBLK",
}
_EXCEPTION = re.compile(r"^\w+(Error|Exception): ")
_LINE = re.compile(r"\bline:? (\d+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """A drawing as the CAD library has it.

    Attributes
    ----------
    doc : ezdxf.document.Drawing
    notes : tuple of str
        What had to be repaired.
    """

    doc: Any
    notes: tuple[str, ...] = ()


def load_drawing(path: Path, name: str) -> Loaded:
    """Open a drawing.

    Parameters
    ----------
    path : Path
    name : str
        What faults call it.

    Raises
    ------
    ReadError
        Where it is none, or is damaged so that entities may be lost.
    """
    data = bytes_of(path, name)
    _refuse_others(data, name)
    from ezdxf.filemanagement import readfile

    try:
        with _quiet():
            return Loaded(doc=readfile(path))
    except Exception as error:  # damage takes the library's reader out in every way there is
        first = error
    if data.startswith(_BINARY):
        raise damaged(name, "", f"this binary drawing is damaged ({reason_of(first)})")
    return _recovered(data, name, first)


def _refuse_others(data: bytes, name: str) -> None:
    """Refuse what is no drawing in the exchange format."""
    said = ""
    if not data.strip():
        said = "the file is empty"
    elif data[:4] == b"AC10":
        said = "this is a drawing in a CAD program's own format, not in the exchange format"
    elif not data.startswith(_BINARY) and (data[:2] in {b"\xff\xfe", b"\xfe\xff"} or b"\0" in data[:64]):
        said = "this is no drawing in the exchange format (DXF)"
    if said:
        raise ReadError(Fault(file=name, said=said, remedy="Save it as DXF from the CAD program."))


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep the CAD library from writing to stderr what the user hears in our words."""
    logger = logging.getLogger("ezdxf")
    before = logger.level
    logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        logger.setLevel(before)


def reason_of(error: BaseException) -> str:
    """What the library says of the damage, without the name of its exception."""
    text = _EXCEPTION.sub("", " ".join(str(error).split()))
    if (
        isinstance(error, ArithmeticError | AttributeError | LookupError | RecursionError | TypeError)
        or not text
    ):
        return "what belongs together in it does not fit"
    return shortened(text[:1].lower() + text[1:], 100).rstrip(".")


def damaged(name: str, where: str, said: str) -> ReadError:
    """Make the error of a drawing that does not hold together."""
    return ReadError(Fault(file=name, field=where, said=said, remedy=_REMEDY))


# --- recovery -------------------------------------------------------------------------------------------


def _recovered(data: bytes, name: str, first: Exception) -> Loaded:
    """Have the library mend a drawing that it could not read, and take it only if nothing was lost."""
    from ezdxf import recover

    text = _Text.of(data)
    told = _LINE.search(str(first))
    where = f"line {told[1] if told else text.odd}"
    if text.sections == 0 and text.fault is None:
        said = "this is no drawing in the exchange format (DXF)"
        raise ReadError(Fault(file=name, said=said, remedy="Save it as DXF from the CAD program."))
    if text.fault is not None:
        raise damaged(name, f"line {text.fault[0]}", text.fault[1])
    if not text.whole:
        raise damaged(
            name, f"line {text.lines}", "the drawing breaks off here, before the end of its entities"
        )
    try:
        with _quiet():
            doc, auditor = recover.read(io.BytesIO(data))
            found = Counter(entity.dxftype() for entity in doc.entitydb.values() if entity.is_alive)
    except Exception as error:
        raise damaged(name, where, f"the drawing is damaged ({reason_of(first)})") from error
    lost = [kind for kind, count in text.entities.items() if found[kind] < count]
    if lost:
        kinds = ", ".join(sorted(lost)[:4])
        raise damaged(
            name, where, f"the drawing is damaged ({reason_of(first)}), and of {kinds} some are lost"
        )
    if auditor.errors:
        said = f"the drawing is damaged ({reason_of(first)}); what is wrong cannot be mended"
        raise damaged(name, where, said)
    count = text.entities.total()
    note = (
        f"{Path(name).name} is damaged ({reason_of(first)}); it was repaired while reading, and all {count} "
        "of its entities are there. Compare the plan with the drawing"
    )
    return Loaded(doc=doc, notes=(note,))


@dataclass(slots=True)
class _Text:
    """What the plain text of a drawing shows of its state: a line with a code, a line with a value, and so on.

    Attributes
    ----------
    entities : Counter
        Entities in the sections ENTITIES and BLOCKS by type.
    sections : int
    whole : bool
        Whether the section ENTITIES is there and ends.
    lines : int
    odd : int
        The line where sections first do not fit; the last line where they all do.
    fault : (line, what is wrong) or None
    """

    entities: Counter[str] = field(default_factory=Counter)
    sections: int = 0
    whole: bool = False
    lines: int = 0
    odd: int = 0
    fault: tuple[int, str] | None = None

    @classmethod
    def of(cls, data: bytes) -> _Text:
        """Look a drawing's text through, as far as it holds together."""
        rows = data.decode("latin-1").replace("\r\n", "\n").replace("\r", "\n").split("\n")
        state = cls(lines=len(rows))
        section, named = "", False
        for index in range(0, len(rows) - 1, 2):
            code_text, value = rows[index].strip(), rows[index + 1].strip()
            if not code_text.removeprefix("-").isdecimal() or len(code_text) > 5:
                if state.sections or (index == 0 and not value):
                    said = f'a code must stand here, not "{shortened(code_text, 40)}"'
                    state.fault = (index + 1, said)
                break
            code = int(code_text)
            if code == 0:
                named = value == "SECTION"
                amiss = bool(section) if value in {"SECTION", "EOF"} else not section
                state.odd = state.odd or (index + 2 if amiss else 0)
                state.sections += named
                state.whole |= value == "ENDSEC" and section == "ENTITIES"
                if value == "EOF":
                    break
                section = "" if value == "ENDSEC" else section
                if section in {"ENTITIES", "BLOCKS"} and value not in _PARTS_OF_OTHERS:
                    state.entities[value] += 1
            elif code == 2 and named:
                section, named = value, False
            elif section in {"ENTITIES", "BLOCKS"} and _is_figure(code) and not _figure(value):
                state.fault = (index + 2, f'"{shortened(value, 40)}" is no number')
                break
        state.odd = state.odd or state.lines
        return state


def _is_figure(code: int) -> bool:
    """Whether a code is followed by a coordinate, length, angle or factor."""
    return 10 <= code <= 59 or 140 <= code <= 147 or 210 <= code <= 239


def _figure(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
