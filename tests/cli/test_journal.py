"""The journal by command."""

import csv
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

Run = Callable[..., Any]


def test_the_journal_is_exported(hilum: Run, tmp_path: Path) -> None:
    """All lines, or those of one box, to a file or printed; an unknown box is said."""
    hilum("boxes", "add", "Blue tub")
    hilum("boxes", "add", "Jar")
    for box, grams in (("blue-tub", "200"), ("jar", "20")):
        hilum("boxes", "swap", box, "--grams", grams)
    out = tmp_path / "journal.csv"
    answer = hilum("journal", "export", "--to", out)
    assert answer.code == 0, answer.err
    found = list(csv.DictReader(io.StringIO(out.read_text(encoding="utf-8-sig"), newline="")))
    swaps = [(line["Box"], line["Words"]) for line in found if line["What"] == "swap"]
    assert swaps == [("blue-tub", "200 g of silica gel."), ("jar", "20 g of silica gel.")]
    printed = hilum("journal", "export", "--box", "jar").out
    assert "20 g of silica gel." in printed
    assert "200 g" not in printed
    assert hilum("journal", "export", "--box", "attic").code != 0
