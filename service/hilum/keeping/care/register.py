"""Names of things: new ones, and codes of lots in addresses of pages."""

import re
from collections.abc import Sequence
from urllib.parse import quote

from hilum.domain.errors import InvalidInputError

LONGEST_CODE = 40
_ODD = re.compile(r"[/\\?#%~\x00-\x1f\x7f]|^\.|^(?=(?:new|move|import|labels|export)\b)\w")


def check_code(code: str, known: Sequence[str], field: str) -> None:
    """Refuse a code that no label could carry, or that is in use.

    Raises
    ------
    InvalidInputError
        It is empty, too long, holds signs that cannot be printed, or is in use.
    """
    if not code.strip() or len(code) > LONGEST_CODE or not code.isprintable():
        raise InvalidInputError(
            f"A code has signs that can be printed, {LONGEST_CODE} at most.", field
        )
    if code in known:
        raise InvalidInputError(f"There is a lot {code} already.", field)


def in_address(code: str) -> str:
    """Write a code of a lot so that it is one part of an address, whatever is in it.

    What would end that part, or lead elsewhere, becomes ``~`` and two hexadecimal digits: servers
    and proxies undo the usual ``%2F`` before the address is taken apart.
    """
    plain = _ODD.sub(lambda found: f"~{ord(found[0]):02X}", code)
    return quote(plain, safe="~")


def out_of_address(part: str) -> str:
    """Give the code that :func:`in_address` wrote, once the usual quoting is undone."""
    return re.sub(r"~([0-9A-F]{2})", lambda found: chr(int(found[1], 16)), part)


def next_lot_code(known: Sequence[str]) -> str:
    """Give the next free code of the form ``L-0001``.

    Parameters
    ----------
    known : sequence of str
        Codes in use.

    Returns
    -------
    str
        One above the highest such number in use.
    """
    numbers = [int(found[1]) for code in known if (found := re.fullmatch(r"L-(\d+)", code))]
    return f"L-{max(numbers, default=0) + 1:04d}"
