"""What ``hilum check`` notices beside the database itself."""

from pathlib import Path

import pytest
import time_machine

from hilum.bootstrap import open_store
from hilum.bootstrap.broker_conf import losses, read_conf
from hilum.bootstrap.checks import Finding, check_all
from hilum.config import FILE_NAME, Settings, settings_from
from hilum.domain.errors import SettingsError
from hilum.stores.sqlite import migrations

SHIPPED = Path(__file__).resolve().parents[2] / "service" / "broker" / "mosquitto.conf"


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """A folder with a settings file and an empty database."""
    folder = tmp_path / "data"
    found = settings_from({"mqtt": False}, folder)
    with open_store(found, exclusive=True):
        (folder / FILE_NAME).write_text('site = "home"\n', encoding="utf-8")
    return found


def finding(settings: Settings, what: str) -> Finding:
    """Give the one finding on a thing."""
    (found,) = (found for found in check_all(settings) if found.what == what)
    return found


def test_all_is_well_in_a_new_place(settings: Settings) -> None:
    """Nothing is found wrong where nothing is."""
    assert [found for found in check_all(settings) if not found.good] == []


def test_a_settings_file_for_everybody_is_found(settings: Settings) -> None:
    """Others can read it only if they can enter the folder too."""
    (settings.data_dir / FILE_NAME).chmod(0o644)
    assert finding(settings, "settings").good
    settings.data_dir.chmod(0o755)
    assert not finding(settings, "settings").good
    (settings.data_dir / FILE_NAME).chmod(0o600)
    assert finding(settings, "settings").good


@pytest.mark.parametrize("now", ["1970-01-01T00:00:12Z", "2009-05-01T00:00:00Z", "2107-01-01"])
def test_an_impossible_clock_is_found(settings: Settings, now: str) -> None:
    """A machine that woke without knowing the time is told so."""
    with time_machine.travel(now, tick=False):
        found = finding(settings, "clock")
    assert not found.good
    assert now[:10] in found.words


def test_waiting_upgrades_are_named(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """A database that the next start will change is reported with the steps, and not changed."""
    later = {**migrations.MIGRATIONS, "9999 test": lambda _: None}
    monkeypatch.setattr(migrations.pending, "__defaults__", (later,))
    found = finding(settings, "upgrade")
    assert not found.good
    assert "“9999 test”" in found.words
    assert migrations.waiting(settings.database) == ["9999 test"]


def test_the_shipped_broker_settings_keep_what_waits(settings: Settings) -> None:
    """The configuration that ships is found good, whole."""
    found = finding(settings.changed(mqtt=True, mqtt_broker_conf=SHIPPED), "broker settings")
    assert found.good


@pytest.mark.parametrize(
    ("conf", "words"),
    [
        ("", ["“persistence” is off", "“max_queued_messages” is 1,000"]),
        ("persistence true\nmax_queued_messages 0", []),
        ("persistence true\nmax_queued_messages 5000", ["is 5,000"]),
        ("persistence true\nautosave_interval 0\nmax_queued_messages 0", ["is 0"]),
        (
            "persistence true\nmax_queued_messages 0\npersistent_client_expiration 2w",
            ["is 2w: shorter than the 30 days"],
        ),
        ("persistence true\nmax_queued_messages 0\npersistent_client_expiration 2m", []),
        ("# persistence true\nmax_queued_messages 0", ["“persistence” is off"]),
    ],
)
def test_broker_settings_that_lose_readings_are_named(
    tmp_path: Path, conf: str, words: list[str]
) -> None:
    """Each option that drops what waits is found (defaults and units: mosquitto.conf(5))."""
    path = tmp_path / "mosquitto.conf"
    path.write_text(conf, encoding="utf-8")
    found = losses(read_conf(path), session_days=30)
    assert len(found) == len(words)
    assert all(word in sentence for word, sentence in zip(words, found, strict=True))


def test_a_broker_file_that_is_not_there_is_said(settings: Settings, tmp_path: Path) -> None:
    """A wrong path is a finding, not a crash."""
    gone = tmp_path / "gone.conf"
    with pytest.raises(SettingsError, match="cannot be read"):
        read_conf(gone)
    assert not finding(settings.changed(mqtt=True, mqtt_broker_conf=gone), "broker settings").good
