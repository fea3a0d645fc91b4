"""The settings as their page shows them: every one with its source, and no secret."""

from pathlib import Path

import pytest

from hilum.bootstrap import system_clock
from hilum.bootstrap.settings_view import settings_shown, try_channel
from hilum.config import Settings, load_settings
from hilum.domain.errors import ConflictError


def test_each_setting_names_its_source(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """File, variable, start and default are told apart; all settings are there."""
    (tmp_path / "hilum.toml").write_text('site = "lane"\nmqtt = false\n', encoding="utf-8")
    monkeypatch.setenv("HILUM_TIME_ZONE", "Europe/Brussels")
    settings = load_settings(tmp_path).changed(port=8421)
    rows = {row.name: row for row in settings_shown(settings, system_clock()).rows}
    told = [(rows[name].value, rows[name].source) for name in ("site", "time_zone", "port", "host")]
    assert told == [
        ("lane", "hilum.toml"),
        ("Europe/Brussels", "variable HILUM_TIME_ZONE"),
        ("8421", "given at the start"),
        ("127.0.0.1", "default"),
    ]
    assert set(Settings.model_fields) <= {name.partition(".")[0] for name in rows}


def test_secrets_are_only_said_to_be_set(tmp_path: Path) -> None:
    """No password stands anywhere in what is shown."""
    (tmp_path / "hilum.toml").write_text(
        'mqtt = false\nmqtt_password = "mill-race"\n'
        '[channels]\nwebhook_url = "https://hooks.example/mill-race"\n'
        'webhook_secret = "mill-race-mill-race-mill-race-32"\n',
        encoding="utf-8",
    )
    shown = settings_shown(load_settings(tmp_path), system_clock())
    assert "mill-race" not in repr(shown.rows)
    rows = {row.name: row for row in shown.rows}
    assert rows["mqtt_password"].value == "set (not shown)"
    assert rows["channels.webhook_url"].source == "hilum.toml"
    assert shown.channels == ("webhook",)


def test_a_channel_that_is_not_there_is_refused_in_words(tmp_path: Path) -> None:
    """The page can show the reason beside its button."""
    (tmp_path / "hilum.toml").write_text("mqtt = false\n", encoding="utf-8")
    with pytest.raises(ConflictError, match="no channel"):
        try_channel(load_settings(tmp_path), system_clock(), "mail")
