"""``hilum backup`` and ``hilum restore`` as a person, or a timer, runs them."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

Run = Callable[..., Any]


def test_backup_and_restore(hilum: Run, tmp_path: Path) -> None:
    """A lot that was added is there again in another folder; exit codes are 0."""
    hilum("boxes", "add", "Blue tub")
    hilum("lots", "add", "onion", "--box", "blue-tub", "--code", "A1")
    written = hilum("backup", "--to", tmp_path / "stick", "--json")
    assert (written.code, written.err) == (0, "")
    assert written.json["rows"]["lot"] == 1
    assert written.json["same_disk"] is True
    again = hilum("restore", written.json["file"], "--data-dir", tmp_path / "new")
    assert again.code == 0
    assert "1 box, 1 lot, 0 tests" in again.out
    assert hilum("lots", "list", "--data-dir", tmp_path / "new").out.startswith("A1\tonion")


def test_backup_says_where_it_stands(hilum: Run) -> None:
    """The words name the file, what it holds, and that a second disk is wanted."""
    hilum("boxes", "add", "Blue tub")
    said = hilum("backup", "--keep", "3").out
    assert "Backup written and checked:" in said
    assert "0 readings, 1 box," in said
    assert "keep a copy elsewhere" in said


def test_failures_are_loud(hilum: Run, tmp_path: Path) -> None:
    """Nothing to copy, nothing to restore, a place that is taken: exit code 1 and a sentence."""
    for words in (("backup",), ("restore", tmp_path / "none.sqlite3")):
        answer = hilum(*words)
        assert (answer.code, answer.out) == (1, "")
        assert "There is no" in answer.err
    hilum("boxes", "add", "Blue tub")
    file = hilum("backup", "--json").json["file"]
    answer = hilum("restore", file)
    assert answer.code == 1
    assert "Nothing was changed" in answer.err
    assert hilum("backup", "--keep", "0").code == 2
