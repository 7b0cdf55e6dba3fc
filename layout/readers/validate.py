"""Checks a site document against the schema: all faults at once, each with what is allowed and the remedy."""

from __future__ import annotations

import difflib
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from layout.errors import Fault
from layout.readers.document import Document, Loc
from layout.readers.schema import SiteTable, Table
from layout.readers.schema.metric import METRIC
from layout.readers.values import figure, quoted

MOST_FAULTS = 200
"""Faults of keys that are told one by one; nobody reads on."""
_TOP = "at the top of the file, before any [table]"
_NEEDED = ("bed", "tubing", "runs")
_KINDS = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": 'text in "double quotes"',
    "bool_type": "true or false",
    "finite_number": "a finite number",
    "list_type": "a list",
}
_WORDS_FOR_UNITS = {
    "feet": "ft",
    "foot": "ft",
    "meter": "m",
    "meters": "m",
    "metre": "m",
    "metres": "m",
    "usft": "us-ft",
    "ftus": "us-ft",
    "survey feet": "us-ft",
}


def validate(document: Document) -> tuple[SiteTable | None, list[Fault]]:
    """Check every key of a document.

    Parameters
    ----------
    document : Document

    Returns
    -------
    table : SiteTable or None
        None where there are faults.
    faults : list of Fault
        In the order of the schema; beyond `MOST_FAULTS` they are counted.
    """
    raw = dict(document.raw)
    for name in _NEEDED:
        raw.setdefault(name, {})  # a missing table: name the keys it must hold
    try:
        return SiteTable.model_validate(raw), []
    except ValidationError as error:
        details = error.errors(include_url=False)
        faults = [fault for detail in details[:MOST_FAULTS] for fault in _faults(document, detail)]
        if len(details) > MOST_FAULTS:
            said = f"{len(details) - MOST_FAULTS:,} more faults are not listed"
            faults.append(Fault(file=str(document.path), said=said, remedy="Mend these first."))
        return None, faults


def _faults(document: Document, error: ErrorDetails) -> list[Fault]:
    """Turn one error of the validation library into faults: one, or one a broken rule."""
    if error["type"] != "rules":
        return [_fault(document, error)]
    faults = []
    for rule in error["ctx"]["rules"]:
        first, *others = [(*error["loc"], *key.split(".")) for key in rule.keys]
        faults.append(document.fault(first, rule.said, rule.remedy, *others))
    return faults


def _fault(document: Document, error: ErrorDetails) -> Fault:
    """Turn one error of the validation library into a fault in our words."""
    loc: Loc = tuple(error["loc"])
    kind, value, context = error["type"], error["input"], error.get("ctx", {})
    if kind == "extra_forbidden":
        return _unknown(document, loc, value)
    info = _field_at(loc)
    if kind == "wrong":
        return document.fault(loc, context["said"], context["remedy"] or _write(document, loc, info))
    if kind == "missing":
        said = f"it is missing: {info.description}" if info and info.description else "it is missing"
        return document.fault(loc, said, f"Add {_example(document, loc, info)}.")
    if kind == "model_type":
        return document.fault(loc, f"found {quoted(value)}, but it must be a table", _table_remedy(loc))
    if kind == "list_type" and loc == ("feature",):
        return document.fault(
            loc, f"found {quoted(value)}, but it must be a list of tables", _table_remedy(loc)
        )
    remedy = _write(document, loc, info)
    if loc == ("units",) and isinstance(value, str):
        meant = _WORDS_FOR_UNITS.get(value.strip().lower())
        remedy = f'Write units = "{meant}".' if meant else remedy
    return document.fault(loc, f"found {quoted(value)}, but it must be {_allowed(error)}", remedy)


def _allowed(error: ErrorDetails) -> str:
    """Say what the validation library wanted."""
    kind, context = error["type"], error.get("ctx", {})
    bounds = {
        "greater_than": ("over {}", "gt"),
        "greater_than_equal": ("{} or more", "ge"),
        "less_than_equal": ("{} at most", "le"),
        "string_too_long": ("{} characters long at most", "max_length"),
        "too_long": ("{} long at most", "max_length"),
    }
    if kind in bounds:
        text, key = bounds[kind]
        return text.format(figure(context[key]))
    if kind == "literal_error":
        return "one of " + str(context["expected"]).replace("'", '"').replace(" or ", ", ")
    return _KINDS.get(kind, f"otherwise: {error['msg']}")


def _example(document: Document, loc: Loc, info: FieldInfo | None) -> str:
    """How a key may be written, in the units of the site."""
    key = ".".join([step for step in loc if isinstance(step, str)][:2])
    if document.get("units") == "m" and key in METRIC:
        return METRIC[key]
    return str(info.examples[0]) if info and info.examples else "it"


def _write(document: Document, loc: Loc, info: FieldInfo | None) -> str:
    if info is None or not info.examples:
        return "See the list of keys."
    return f"Write {info.description}, for instance {_example(document, loc, info)}."


def _table_remedy(loc: Loc) -> str:
    name = loc[0]
    if name == "feature":
        return "Begin each feature with a line [[feature]], in two pairs of brackets."
    return f"Begin the table with a line [{name}] and write its keys below it."


# --- the schema as a tree -------------------------------------------------------------------------------


def _table_class(info: FieldInfo) -> type[Table] | None:
    """Find the table a field holds, alone, in a list or as an option."""
    pending: list[Any] = [info.annotation]
    while pending:
        kind = pending.pop()
        if isinstance(kind, type) and issubclass(kind, Table):
            return kind
        pending.extend(get_args(kind))
    return None


def _field_at(loc: Loc) -> FieldInfo | None:
    """Find the schema's field for a loc, or for the nearest key above it that has one."""
    table: type[BaseModel] = SiteTable
    found: FieldInfo | None = None
    for step in loc:
        if isinstance(step, int):
            continue
        found = table.model_fields.get(step, found)
        inner = _table_class(found) if found is not None else None
        if inner is None:
            break
        table = inner
    return found


def known_keys() -> dict[str, tuple[str, ...]]:
    """List the known keys of each table of the site file; those of the file's top under an empty name."""
    keys = {"": tuple(SiteTable.model_fields)}
    for name, info in SiteTable.model_fields.items():
        table = _table_class(info)
        if table is not None:
            keys[name] = tuple(table.model_fields)
    return keys


def _unknown(document: Document, loc: Loc, value: Any) -> Fault:
    """Name the nearest known key: in its own table, or the table it belongs in."""
    names = known_keys()
    key = str(loc[-1])
    table = str(loc[0]) if len(loc) > 1 else ""
    near = difflib.get_close_matches(key.lower(), names[table], n=1, cutoff=0.0)[0]
    if isinstance(value, dict) and not table:
        tables = [name for name in names if name]
        near = difflib.get_close_matches(key.lower(), tables, n=1, cutoff=0.0)[0]
        brackets = f"[[{near}]]" if near == "feature" else f"[{near}]"
        said = f"there is no table [{key}]; the nearest known one is {brackets}"
        return document.fault(loc, said, f"Write {brackets}, or take the table out.")
    full = f"{table}.{near}" if table else near
    said = f"the key is not known; the nearest known one is {full}"
    homes = [name for name, keys in names.items() if key in keys and name != table]
    if homes:
        where = " or ".join(f"in [{name}]" if name else _TOP for name in homes)
        return document.fault(loc, said, f"{key} belongs {where}.")
    return document.fault(loc, said, f"Write {near}, or take the line out.")
