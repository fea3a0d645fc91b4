"""Names for new things."""

import re
from collections.abc import Sequence


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
