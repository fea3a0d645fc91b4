"""Published tables as CSV files, each row with its source and status."""

import csv
from functools import cache
from importlib.resources import files


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """Read one of the package's tables.

    Parameters
    ----------
    name : str
        File name without ``.csv``.

    Returns
    -------
    tuple of dict
        One dict a row, keyed by column; every value a string, empty where unknown.

    Raises
    ------
    FileNotFoundError
        The package has no such table.
    """
    text = files(__name__).joinpath(f"{name}.csv").read_text(encoding="utf-8")
    lines = (line for line in text.splitlines() if not line.startswith("#"))
    return tuple(csv.DictReader(lines))
