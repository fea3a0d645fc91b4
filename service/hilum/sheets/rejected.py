"""Rows of a file that were not taken, as a table: mend them there and import that table."""

from hilum.sheets.grid import Cell, text_of
from hilum.sheets.proposal import Proposal
from hilum.sheets.writing import csv_bytes

ROW, REASON = "Row", "Why it was not taken"


def rejected_csv(proposal: Proposal) -> bytes:
    """Write the rows that are not taken as CSV: their cells as they were, number and reason.

    Parameters
    ----------
    proposal : Proposal
        What was proposed of the file.

    Returns
    -------
    bytes
        The table; empty but for its headings where every row was taken.
    """
    headings = [column.heading for column in proposal.columns]
    rows: list[list[Cell]] = [[*headings, ROW, REASON]]
    for problem in proposal.problems:
        cells = [text_of(cell) for cell in proposal.refused.get(problem.row, ())]
        cells += [""] * (len(headings) - len(cells))
        why = f"{problem.column}: {problem.reason}" if problem.column else problem.reason
        rows.append([*cells[: len(headings)], problem.row, why])
    return csv_bytes(rows)
