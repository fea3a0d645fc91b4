"""A season plan from a plain table: one line for each thing wanted."""

import csv
from collections.abc import Iterator, Mapping
from dataclasses import replace

from hilum.domain.errors import (
    AmbiguousNameError,
    HilumError,
    InvalidInputError,
    UnknownNameError,
)
from hilum.domain.model import PlanLine
from hilum.science.kinds import find_kind

HEADINGS: Mapping[str, str] = {
    "kind": "kind", "crop": "kind", "species": "kind", "what": "kind",
    "variety": "variety", "cultivar": "variety", "name": "variety",
    "plants": "plants", "plants wanted": "plants", "wanted": "plants", "number": "plants",
    "packet": "packet_seeds", "packet seeds": "packet_seeds", "seeds per packet": "packet_seeds",
    "packet plants": "packet_plants", "plants per packet": "packet_plants",
    "loss": "loss_pct", "losses": "loss_pct", "loss %": "loss_pct",
    "losses after emergence": "loss_pct",
    "field": "field_factor", "field factor": "field_factor", "field emergence": "field_factor",
    "note": "note", "notes": "note",
}  # fmt: skip
"""Headings that are understood, in lower case, and the field each stands for."""

NEEDED = ("kind", "plants")
SIGNS = ",;\t"


def read_plan(text: str) -> list[PlanLine]:
    """Read the lines of a plan.

    Parameters
    ----------
    text : str
        A table with headings; fields divided by comma, semicolon or tab. ``kind`` and ``plants``
        are needed; ``variety`` ("any" or nothing: any will do), ``packet`` (seeds), ``packet
        plants``, ``loss`` (per cent), ``field`` (a share, or per cent) and ``note`` may be there.

    Returns
    -------
    list of PlanLine
        In the order of the table; empty lines are passed over.

    Raises
    ------
    InvalidInputError
        A heading is missing, or a line cannot be read: all lines that cannot are named.
    """
    rows = text.lstrip("\ufeff").splitlines()
    head = next((row for row in rows if row.strip()), "")
    sign = max(SIGNS, key=head.count)
    table = csv.reader(rows, delimiter=sign, skipinitialspace=True)
    fields: list[str | None] | None = None
    lines, problems = [], []
    for cells in table:
        if not any(cell.strip() for cell in cells):
            continue
        if fields is None:
            fields = [HEADINGS.get(_plain(cell)) for cell in cells]
            _check_headings(fields)
            continue
        given = {name: cell.strip() for name, cell in zip(fields, cells, strict=False) if name}
        try:
            lines.append(_line(given))
        except (HilumError, AmbiguousNameError, UnknownNameError) as error:
            problems.append(f"Line {table.line_num}: {error}")
    if fields is None:
        raise InvalidInputError("The plan is empty.", "plan")
    if problems:
        raise InvalidInputError("\n".join(problems), "plan")
    return lines


def _plain(heading: str) -> str:
    return " ".join(heading.casefold().replace("_", " ").replace("-", " ").split())


def _check_headings(fields: list[str | None]) -> None:
    for name in NEEDED:
        if name not in fields:
            raise InvalidInputError(
                f"The plan needs a column “{name}”. Its first line must be its headings, for "
                "example: kind,variety,plants,packet",
                name,
            )


def _line(given: Mapping[str, str]) -> PlanLine:
    kind = given.get("kind", "")
    if not kind:
        raise InvalidInputError("no kind is given.", "kind")
    numbers = dict(_numbers(given))
    if "plants" not in numbers:
        raise InvalidInputError("no number of plants is given.", "plants")
    line = PlanLine(
        kind=find_kind(kind).kind.key,
        plants=round(numbers["plants"]),
        variety=given.get("variety", ""),
        packet_seeds=_whole(numbers.get("packet_seeds")),
        packet_plants=_whole(numbers.get("packet_plants")),
        note=given.get("note", ""),
    )
    return replace(
        line,
        loss_pct=numbers.get("loss_pct", line.loss_pct),
        field_factor=numbers.get("field_factor", line.field_factor),
    )


def _numbers(given: Mapping[str, str]) -> Iterator[tuple[str, float]]:
    limits = {
        "plants": (1, 100_000),
        "packet_seeds": (1, 1_000_000),
        "packet_plants": (1, 100_000),
        "loss_pct": (0, 90),
        "field_factor": (0.1, 1),
    }
    for name, (low, high) in limits.items():
        text = given.get(name, "")
        if not text:
            continue
        percent = text.endswith("%")
        try:
            value = float(text.removesuffix("%").replace(",", ".").strip())
        except ValueError as error:
            raise InvalidInputError(f"“{text}” is no number ({name}).", name) from error
        if name == "field_factor" and (percent or value > 1.0):
            value /= 100.0
        if not low <= value <= high:
            raise InvalidInputError(
                f"{name} must be between {low:g} and {high:g}, not {value:g}.", name
            )
        yield name, value


def _whole(value: float | None) -> int | None:
    return None if value is None else round(value)
