"""Text that every reader of DXF shows alike."""

from __future__ import annotations

import unicodedata

_PLAIN = {
    "²": "2",
    "³": "3",
    "×": "x",
    "–": "-",
    "—": "-",
    "…": "...",
    "’": "'",
    "°": "%%d",
    "±": "%%p",
    "□": "?",
}
"""Characters that some readers of DXF garble, and what stands for them."""


def plain(text: str) -> str:
    r"""Write a text in plain letters, with codes for the rest.

    Letters with accents outside ASCII are written as ``\U+XXXX``, the format's own way.
    """
    text = text.replace("%%", "% %").replace("\\", "/")
    text = "".join(_PLAIN.get(sign, sign) for sign in unicodedata.normalize("NFC", text))
    return "".join(_coded(sign) for sign in text)


def _coded(sign: str) -> str:
    if " " <= sign <= "~":
        return sign
    return f"\\U+{ord(sign):04X}" if ord(sign) < 0x10000 else "?"
