"""``hilum readings import`` of what a device kept as SenML."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hilum.ingest import senmlfiles

Run = Callable[..., Any]
BEGIN_S = 1_764_061_200  # 2025-11-25T09:00Z


def pack(minute: int, count: int = 1) -> list[dict[str, object]]:
    """Moments a minute apart, the first so many minutes after the beginning (RFC 8428, 4.5)."""
    records: list[dict[str, object]] = [{"bt": BEGIN_S + 60 * minute}]
    for k in range(count):
        records.append({"n": "temperature", "u": "Cel", "v": 20 + k % 7 / 2, "t": 60 * k})
        records.append({"n": "humidity", "u": "%RH", "v": 30 + k % 5, "t": 60 * k})
    return records


def exported(hilum: Run) -> list[str]:
    """Give the lines of an export of the sensor, the heading left out."""
    lines: list[str] = hilum("readings", "export", "home/card").out.splitlines()[1:]
    return lines


@pytest.mark.parametrize("form", ["whole", "indented", "lines", "marked"])
def test_a_file_is_read_in_every_form(hilum: Run, tmp_path: Path, form: str) -> None:
    """One pack, the same over many lines, a pack on each line, with a byte order mark."""
    file = tmp_path / "card.json"
    text = {
        "whole": json.dumps(pack(0, 3)),
        "indented": json.dumps(pack(0, 3), indent=1),
        "lines": "\n".join(json.dumps(pack(minute)) for minute in range(3)) + "\n\n",
        "marked": "\ufeff " + json.dumps(pack(0, 3)),
    }[form]
    file.write_text(text, encoding="utf-8")
    done = hilum("readings", "import", file, "--json").json
    assert (done["sensor"], done["stored"], done["refused"]) == ("home/card", 3, {})
    assert (done["first"], done["last"]) == ("2025-11-25T09:00:00Z", "2025-11-25T09:02:00Z")
    assert len(exported(hilum)) == 3
    again = hilum("readings", "import", file, "--json").json
    assert (again["stored"], again["duplicates"]) == (0, 3)


def test_more_than_a_message_may_hold_is_read(hilum: Run, tmp_path: Path) -> None:
    """A card of two weeks, larger than the 256 KiB of a message, is kept to the last reading."""
    file = tmp_path / "card.json"
    file.write_text(json.dumps(pack(0, 14 * 1440)), encoding="utf-8")
    assert file.stat().st_size > 256 * 1024
    assert hilum("readings", "import", file, "--json").json["stored"] == 14 * 1440


def test_a_box_gets_the_sensor_from_its_first_reading_on(hilum: Run, tmp_path: Path) -> None:
    """As with a table: the readings count for the box."""
    hilum("boxes", "add", "Blue tub")
    file = tmp_path / "card.senml"
    file.write_text(json.dumps(pack(0, 30)), encoding="utf-8")
    said = hilum("readings", "import", file, "--box", "blue-tub")
    assert "SenML" in said.out
    assert "30 readings kept" in said.out
    assert "blue-tub" in hilum("sensors", "list").out


def test_what_cannot_be_kept_is_told(hilum: Run, tmp_path: Path) -> None:
    """Without a time, with a fault value, without a unit, no JSON: each with its reason."""
    bad = (
        [{"n": "temperature", "u": "Cel", "v": 20}],
        [{"bt": BEGIN_S, "n": "temperature", "u": "Cel", "v": 85}],
        [{"bt": BEGIN_S, "n": "humidity", "v": 40}],
    )
    file = tmp_path / "card.json"
    lines = [json.dumps(pack(0)), *map(json.dumps, bad), "[{broken", json.dumps(pack(1))]
    file.write_text("\n".join(lines), encoding="utf-8")
    said = hilum("readings", "import", file)
    assert said.code == 0
    assert "2 readings kept" in said.out
    assert "4 lines were not kept" in said.out
    for words in ("does not say when", "switched on", "unit of the humidity is missing", "JSON"):
        assert words in said.out


def test_a_trial_keeps_nothing(hilum: Run, tmp_path: Path) -> None:
    """With --dry-run it is only said what the file is."""
    file = tmp_path / "card.json"
    file.write_text(json.dumps(pack(0, 3)), encoding="utf-8")
    assert "SenML" in hilum("readings", "import", file, "--dry-run").out
    assert hilum("readings", "export", "home/card").code == 3


def test_a_file_beyond_all_bounds_is_refused(
    hilum: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One pack that would not fit into memory is refused, with what to do."""
    monkeypatch.setattr(senmlfiles, "MOST_BYTES", 1000)
    file = tmp_path / "card.json"
    file.write_text(json.dumps(pack(0, 100), indent=1), encoding="utf-8")
    answer = hilum("readings", "import", file)
    assert answer.code == 2
    assert "one pack on each line" in answer.err
