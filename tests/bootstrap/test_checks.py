"""What ``hilum check`` notices beside the database itself."""

import shutil
from pathlib import Path

import pytest
import time_machine

from hilum.bootstrap import open_store
from hilum.bootstrap.broker_conf import losses, open_doors, read_conf
from hilum.bootstrap.broker_files import RULES
from hilum.bootstrap.broker_rules import Grant, allowed, grants_of, missing
from hilum.bootstrap.checks import Finding, check_all
from hilum.config import FILE_NAME, Settings, settings_from
from hilum.domain.errors import SettingsError
from hilum.stores.sqlite import migrations
from plugins.mosquitto import Broker, broker
from plugins.sensors import Sensors

__all__ = ["broker"]

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
    shipped = settings.changed(mqtt=True, mqtt_broker_conf=SHIPPED)
    assert finding(shipped, "broker settings").good
    assert finding(shipped, "broker doors").good


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
        ("persistence true\nmax_queued_messages 0\nmax_queued_bytes 7000000", ["is 7,000,000"]),
        ("persistence true\nmax_queued_messages 0\nmax_queued_bytes 8000000", []),
        ("persistence true\nmax_queued_messages 0\nmessage_size_limit 2000", ["is 2,000"]),
        ("persistence true\nmax_queued_messages 0\nmax_packet_size 300000", []),
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


def test_included_settings_count(tmp_path: Path) -> None:
    """Files of ``include_dir`` are read where it stands; what comes later wins (man page)."""
    folder = tmp_path / "conf.d"
    folder.mkdir()
    (folder / "b.conf").write_text("max_queued_messages 0\nlistener 8883\n", encoding="utf-8")
    (folder / "a.conf").write_text("max_queued_messages 7\npersistence true\n", encoding="utf-8")
    (folder / "readme").write_text("persistence false\n", encoding="utf-8")
    path = tmp_path / "mosquitto.conf"
    path.write_text(f"listener 1883 127.0.0.1\ninclude_dir {folder}\n", encoding="utf-8")
    conf = read_conf(path)
    assert losses(conf, session_days=30) == []
    assert [each["listener"] for each in conf.listeners] == ["1883 127.0.0.1", "8883"]


RULED = "password_file p\nacl_file a\n"


@pytest.mark.parametrize(
    ("conf", "words"),
    [
        ("", []),
        ("listener 1883 127.0.0.1\nallow_anonymous true", []),
        ("listener 0 /run/mosquitto.sock\nallow_anonymous true", []),
        ("port 1883\nbind_address ::1", []),
        (RULED + "listener 8883\ncertfile c\nkeyfile k", []),
        (RULED + "listener 1883\nlistener 8883\ncertfile c", ["Port 1883 answers other"]),
        (RULED + "port 1883", ["Port 1883 answers other"]),
        (
            RULED + "listener 8883 192.168.1.20\ncertfile c\nallow_anonymous true",
            ["whoever reaches port 8883"],
        ),
        ("listener 8883\ncertfile c", ["at port 8883 each sensor can speak for every other"]),
        ("plugin dynamic.so\nlistener 8883\ncertfile c", []),
        (
            "per_listener_settings true\nlistener 1883 localhost\nallow_anonymous true\n"
            "listener 8883\ncertfile c\n" + RULED,
            [],
        ),
        (
            "per_listener_settings true\n" + RULED + "listener 8883\ncertfile c",
            ["at port 8883 each sensor"],
        ),
    ],
)
def test_doors_that_stand_open_are_named(tmp_path: Path, conf: str, words: list[str]) -> None:
    """What lets in other machines without a password, rules or TLS is found (mosquitto.conf(5))."""
    path = tmp_path / "mosquitto.conf"
    path.write_text(conf, encoding="utf-8")
    found = open_doors(read_conf(path))
    assert len(found) == len(words)
    assert all(word in sentence for word, sentence in zip(words, found, strict=True))


NOTES = "topic readwrite hilum/+/arrived"


@pytest.fixture
def ruled(settings: Settings, tmp_path: Path) -> Settings:
    """Settings with a broker whose rules are those of the shipped example."""
    shutil.copy(SHIPPED.parent / "acl.example", tmp_path / "acl")
    conf = SHIPPED.read_text("utf-8").replace("/etc/mosquitto/hilum.acl", str(tmp_path / "acl"))
    (tmp_path / "mosquitto.conf").write_text(conf, encoding="utf-8")
    return settings.changed(
        mqtt=True, mqtt_user="hilum", mqtt_broker_conf=tmp_path / "mosquitto.conf"
    )


def test_workers_need_the_right_to_their_notes(ruled: Settings, tmp_path: Path) -> None:
    """The line that workers need is missed where there are workers, and nowhere else."""
    workers = ruled.changed(mqtt_workers=True, influx_url="http://127.0.0.1:8086")
    assert finding(workers, "broker rules").good
    rules = tmp_path / "acl"
    text = rules.read_text(encoding="utf-8")
    assert f"\n{NOTES}\n" in text
    for worse in ("", "topic read hilum/+/arrived"):
        rules.write_text(text.replace(NOTES, worse), encoding="utf-8")
        found = finding(workers, "broker rules")
        assert not found.good
        assert f"lacks for the user hilum: “{NOTES}”." in found.words
        assert finding(ruled, "broker rules").good


def test_rules_for_a_source_are_missed(ruled: Settings, tmp_path: Path) -> None:
    """A source whose topic Hilum may not read would stay silent for ever; the line is told."""
    source = {"topic": "garden/{sensor}/temperature", "temperature": {"unit": "C"}}
    with_source = ruled.changed(sources=[source])
    assert "“topic read garden/+/temperature”" in finding(with_source, "broker rules").words
    rules = tmp_path / "acl"
    text = rules.read_text(encoding="utf-8")
    rules.write_text(text.replace("#topic read garden/", "topic read garden/"), encoding="utf-8")
    assert finding(with_source, "broker rules").good


def test_written_rules_lack_nothing(ruled: Settings) -> None:
    """What ``hilum init`` writes and the shipped example give Hilum the same, and enough."""
    assert missing(RULES, ruled.changed(mqtt_workers=True, influx_url="http://127.0.0.1:1")) == []
    shipped = (SHIPPED.parent / "acl.example").read_text(encoding="utf-8")
    assert shipped.startswith(RULES)


def test_rules_nobody_may_read_are_said(ruled: Settings, tmp_path: Path) -> None:
    """Rules that are not there are a finding."""
    (tmp_path / "acl").unlink()
    assert "cannot be read" in finding(ruled, "broker rules").words


GRANTS = """topic readwrite nameless
user tub-1
topic write hilum/+/arrived
topic deny hilum/shed/arrived
topic garden/#
topic readwrite yard/two words/+
topic read attic/#
pattern write by/%u/x
user tester
topic readwrite others
"""
TOPICS = {
    "nameless": False,
    "hilum/home/arrived": True,
    "hilum/shed/arrived": False,
    "hilum/home/tub/arrived": False,
    "garden": True,
    "garden/bed/temperature": True,
    "yard/two words/x": True,
    "yard/two words": False,
    "attic/x": False,
    "by/tub-1/x": True,
    "by/tub-2/x": False,
    "others": False,
}


@pytest.mark.mosquitto
def test_rules_are_read_as_the_broker_reads_them(broker: Broker) -> None:
    """A real Mosquitto takes and refuses what the reader of its rules says it does."""
    broker.stop()
    (broker.folder / "acl").write_text(GRANTS, encoding="utf-8")
    broker.start()
    with Sensors(broker.port, "tub-1") as sensor:
        sensor.send([(topic, b"x") for topic in TOPICS])
        sensor.settle()
        taken = {topic: number in sensor.confirmed for number, topic in enumerate(TOPICS)}
    assert taken == TOPICS
    grants = list(grants_of(GRANTS, "tub-1", "any"))
    assert {topic: allowed(grants, Grant("write", topic)) for topic in TOPICS} == TOPICS


def test_a_broker_file_that_is_not_there_is_said(settings: Settings, tmp_path: Path) -> None:
    """A wrong path is a finding, not a crash."""
    gone = tmp_path / "gone.conf"
    with pytest.raises(SettingsError, match="cannot be read"):
        read_conf(gone)
    assert not finding(settings.changed(mqtt=True, mqtt_broker_conf=gone), "broker settings").good
