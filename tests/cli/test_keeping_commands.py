"""From nothing to a lot's loss by the commands of the README."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]
TABLE = "time,temperature,humidity\n" + "".join(
    f"2026-01-{1 + hour // 24:02d}T{hour % 24:02d}:00Z,{18 + hour % 3},{30 + hour % 5}\n"
    for hour in range(72)
)


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """A small table of three days."""
    path = tmp_path / "Shed logger.csv"
    path.write_text(TABLE, encoding="utf-8")
    return path


def test_readings_come_in_once(hilum: Run, table: Path) -> None:
    """Importing twice keeps every reading once, and says so."""
    hilum("boxes", "add", "Blue tub")

    first = hilum("readings", "import", table, "--box", "blue-tub", "--json").json
    second = hilum("readings", "import", table, "--json").json

    assert (first["sensor"], first["stored"], first["duplicates"]) == ("home/shed-logger", 72, 0)
    assert (second["stored"], second["duplicates"]) == (0, 72)


def test_export_and_import_again_are_the_same(hilum: Run, table: Path, tmp_path: Path) -> None:
    """An export read into another name exports the same."""
    hilum("readings", "import", table)
    there, back = tmp_path / "there.csv", tmp_path / "back.csv"

    assert hilum("readings", "export", "home/shed-logger", "--to", there).code == 0
    hilum("readings", "import", there, "--sensor", "copy")
    hilum("readings", "export", "home/copy", "--to", back)

    assert there.read_text(encoding="utf-8") == back.read_text(encoding="utf-8")
    assert len(there.read_text(encoding="utf-8").splitlines()) == 73


def test_a_box_a_sensor_and_a_lot_make_a_page_worth_of_keeping(hilum: Run, table: Path) -> None:
    """Box, readings, claim and lot by command; check agrees at the end."""
    hilum("boxes", "add", "Blue tub", "--type", "tub")
    hilum("readings", "import", table)

    claimed = hilum("sensors", "claim", "shed-logger", "--box", "blue-tub")
    added = hilum(
        *("lots", "add", "Onions", "--box", "blue-tub", "--germination", "92"),
        *("--tested", "2026-01-01", "--since", "2026-01-01"),
    )

    assert claimed.code == added.code == 0
    assert "Onion (Allium cepa)" in added.out
    assert "blue-tub" in hilum("lots", "list").out
    assert "inside blue-tub" in hilum("sensors", "list").out
    assert hilum("rebuild").code == 0
    findings = {each["what"]: each for each in json.loads(hilum("check", "--json").out)["findings"]}
    assert findings["ledger"]["good"], findings
    assert findings["database"]["good"], findings


def test_a_logger_makes_room_for_a_sensor(hilum: Run, table: Path) -> None:
    """After old readings of one, another can stand in the box: the first counts to its last one."""
    hilum("boxes", "add", "Blue tub", "--type", "tub")
    hilum("readings", "import", table, "--box", "blue-tub")
    senml = '[{"n": "temperature", "u": "Cel", "v": 19.8, "t": 1768039200}]'
    (table.parent / "new.json").write_text(senml, encoding="utf-8")
    hilum("readings", "import", table.parent / "new.json", "--sensor", "tub-1")
    refused = hilum("sensors", "claim", "tub-1", "--box", "blue-tub")
    assert refused.code == 1
    assert "hilum sensors end" in refused.err
    assert hilum("sensors", "end", "shed-logger").code == 0
    assert hilum("sensors", "end", "shed-logger").code == 1
    listed = hilum("sensors", "list").out
    assert "shed-logger\tnot claimed" in listed
    again = hilum("sensors", "claim", "tub-1", "--box", "blue-tub")
    assert again.code == 0, again.err


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ("boxes add Tub --target-low 50 --target-high 40", 2, "band must rise"),
        ("boxes add Tub --type cupboard", 2, "cupboard"),
        ("boxes add ***", 2, "no letters"),
        ("sensors claim ghost --box tub", 3, "ghost"),
        ("lots add unobtainium --box tub", 3, "unobtainium"),
        ("lots add bean --box tub", 3, "more than one kind"),
        ("lots add onion --box nowhere", 3, "nowhere"),
        ("lots add onion --box nowhere --tested soon", 2, "soon"),
        ("readings export home/ghost", 3, "ghost"),
        ("readings import missing.csv", 2, "missing.csv"),
    ],
)
def test_what_cannot_be_done_is_said(hilum: Run, words: str, code: int, said: str) -> None:
    """A wrong command ends with its code and a sentence, not with a traceback."""
    answer = hilum(*words.split())

    assert answer.code == code, answer.err
    assert said in answer.err
    assert "Traceback" not in answer.err


def test_local_times_ask_for_their_zone(hilum: Run, tmp_path: Path) -> None:
    """A file with local times is refused until the zone is given; nothing is kept before."""
    path = tmp_path / "office.csv"
    path.write_text(TABLE.replace("Z,", ","), encoding="utf-8")

    refused = hilum("readings", "import", path)
    wrong = hilum("readings", "import", path, "--time-zone", "Mars/Base")
    taken = hilum("readings", "import", path, "--time-zone", "Europe/Brussels", "--json")

    assert refused.code == wrong.code == 2
    assert "--time-zone" in refused.err
    assert taken.json["stored"] == 72
    assert taken.json["first"] == "2025-12-31T23:00:00Z"


def test_real_room_climate_is_understood_as_published(
    hilum: Run, shared_data: Callable[[str], Path]
) -> None:
    """All rows of Candanedo & Feldheim 2016 are kept, though the header is a column short."""
    path = shared_data("room_climate_2015-02.csv")

    answer = hilum("readings", "import", path, "--time-zone", "Europe/Brussels")

    assert answer.code == 0
    assert "row number comes first" in answer.out
    assert "2,665 readings kept" in answer.out


def test_settings_are_written_once(hilum: Run, tmp_path: Path) -> None:
    """``init`` writes a file only its owner can read, and never over another."""
    folder = tmp_path / "new"

    first = hilum("init", "--data-dir", folder, "--site", "shed", "--time-zone", "Europe/Brussels")
    again = hilum("init", "--data-dir", folder)
    wrong = hilum("init", "--data-dir", tmp_path / "other", "--site", "My Shed")

    assert first.code == 0
    assert (folder / "hilum.toml").stat().st_mode & 0o077 == 0
    assert 'site = "shed"' in (folder / "hilum.toml").read_text(encoding="utf-8")
    assert again.code == wrong.code == 2
    assert not (tmp_path / "other" / "hilum.toml").exists()
    assert len(again.err.splitlines()) == 1


def test_refusals_tell_the_time_as_clocks_here_do(hilum: Run, tmp_path: Path) -> None:
    """A move before the lot arrived is refused with a time of the zone that is set."""
    hilum("boxes", "add", "Tub")
    (tmp_path / "data" / "hilum.toml").write_text('time_zone = "Asia/Tokyo"\n')
    hilum("lots", "add", "onion", "--code", "A", "--box", "tub", "--since", "2025-03-01T08:00")
    refused = hilum("lots", "out", "A", "--on", "2025-01-01")
    assert (refused.code, refused.out) == (1, "")
    assert "since 2025-03-01 08:00; give a later time" in refused.err
