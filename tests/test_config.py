"""Settings: where they come from, and what is said about wrong ones."""

from pathlib import Path

import pytest

from hilum.config import FILE_NAME, ChannelSettings, Settings, load_settings, settings_from
from hilum.domain.errors import SettingsError


@pytest.fixture(autouse=True)
def _no_settings_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    import os

    for name in list(os.environ):
        if name.startswith("HILUM_") and name != "HILUM_SHARED":
            monkeypatch.delenv(name)


def test_defaults_hold_without_a_file(tmp_path: Path) -> None:
    """An empty folder gives the defaults, on this machine only."""
    settings = load_settings(tmp_path)

    assert settings.host == "127.0.0.1"
    assert settings.database == tmp_path / "hilum.sqlite3"


def test_command_line_wins_over_environment_over_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """File, environment and command line give way to the next in this order."""
    (tmp_path / FILE_NAME).write_text('port = 1111\nsite = "shed"\n', encoding="utf-8")
    assert load_settings(tmp_path).port == 1111

    monkeypatch.setenv("HILUM_PORT", "2222")
    settings = load_settings(tmp_path)

    assert settings.port == 2222
    assert settings.site == "shed"
    assert settings.changed(port=3333).port == 3333


def test_a_folder_that_is_given_wins_over_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """HILUM_DATA_DIR names the folder only where the command line does not."""
    monkeypatch.setenv("HILUM_DATA_DIR", str(tmp_path / "named"))
    assert load_settings().data_dir == tmp_path / "named"
    assert load_settings(tmp_path / "given").data_dir == tmp_path / "given"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("prot = 1", "no setting called “prot”"),
        ('port = "many"', "“port” cannot be used"),
        ('time_zone = "Mars"', "no time zone"),
        ('site = "My Shed"', "“site” cannot be used"),
        ("port = ", "cannot be read"),
        ('[[sources]]\ntopic = "a/{sensor}"\nhumidty = {unit = "%"}', "sources.0.humidty"),
    ],
)
def test_a_setting_that_cannot_be_used_is_named(tmp_path: Path, text: str, words: str) -> None:
    """A wrong file is refused with the setting and the reason."""
    (tmp_path / FILE_NAME).write_text(text, encoding="utf-8")

    with pytest.raises(SettingsError, match=words):
        load_settings(tmp_path)


def test_a_wrong_value_from_the_command_line_is_named(tmp_path: Path) -> None:
    """Changed settings are checked like the rest."""
    with pytest.raises(SettingsError, match="“port” cannot be used"):
        load_settings(tmp_path).changed(port=70000)


def test_passwords_do_not_show(tmp_path: Path) -> None:
    """The text form of the settings hides secrets."""
    settings = settings_from({"mqtt_password": "quiet please"}, tmp_path)

    assert "quiet please" not in repr(settings)
    assert settings.mqtt_password is not None
    assert settings.mqtt_password.get_secret_value() == "quiet please"


def test_every_setting_is_described() -> None:
    """A setting without a description fails here."""
    missing = [name for name, field in Settings.model_fields.items() if not field.description]

    assert missing == []


def test_channel_settings_come_from_file_and_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Channels stand in a table of the file; a variable names the level below with two strokes."""
    monkeypatch.setenv("HILUM_CHANNELS__MAIL_PASSWORD", "tea caddy")
    (tmp_path / FILE_NAME).write_text(
        '[channels]\nmail_host = "mail.example"\nmail_from = "box@example.org"\n'
        'mail_to = ["a@example.org"]\nquiet_from = 23:30:00\nwebhook_url = "https://x/secret"\n'
        'push_urls = ["json://token@host"]\n',
        encoding="utf-8",
    )

    channels = load_settings(tmp_path).channels

    assert channels.mail_password is not None
    assert channels.mail_password.get_secret_value() == "tea caddy"
    assert f"{channels.quiet_from:%H:%M}" == "23:30"
    for secret in ("caddy", "secret", "token"):
        assert secret not in repr(channels).replace("webhook_secret", "")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[channels]\nmail_host = "mail.example"', "needs mail_from and mail_to"),
        ('[channels]\nmail_tls = "none"', "channels.mail_tls"),
        ('[channels]\nquiet_from = "late"', "channels.quiet_from"),
        ('[channels]\nmial_host = "x"', "channels.mial_host"),
    ],
)
def test_channel_settings_that_cannot_be_used_are_named(
    tmp_path: Path, text: str, words: str
) -> None:
    """A wrong channel setting is refused with its name."""
    (tmp_path / FILE_NAME).write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError, match=words):
        load_settings(tmp_path)


def test_every_channel_setting_is_described() -> None:
    """A channel setting without a description fails here."""
    fields = ChannelSettings.model_fields
    assert [name for name, field in fields.items() if not field.description] == []
