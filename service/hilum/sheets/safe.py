"""Cells that no spreadsheet program runs as a formula, and signs no file can hold; both ways.

A text that a program would run gets an apostrophe in front; one that has apostrophes before such a
beginning gets one more, so that taking one off always gives the text back. Control signs, which
XLSX cannot hold, are written ``_x0007_`` as ISO/IEC 29500-1, 22.9.2.19 (ST_Xstring) has it.
"""

import re

_RUNS = re.compile(r"'*(?:\s*[=+\-@＝＋－＠]|[\t\r\n])")
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ufeff\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
_WRITTEN = re.compile(r"_x([0-9A-Fa-f]{4})_")


def armed(text: str) -> str:
    """Write a text so that every spreadsheet program takes it as text, and gives it back whole."""
    plain = _CONTROL.sub(lambda found: f"_x{ord(found[0]):04X}_", text)
    return f"'{plain}" if _RUNS.match(plain) else plain


def disarmed(text: str) -> str:
    """Undo :func:`armed`; any other text stays as it is."""
    if text.startswith("'") and _RUNS.match(text):
        text = text[1:]
    return _WRITTEN.sub(lambda found: chr(int(found[1], 16)), text)
