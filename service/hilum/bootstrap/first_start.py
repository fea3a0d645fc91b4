"""Writes a settings file for someone who starts for the first time."""

import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from hilum.bootstrap import open_store
from hilum.bootstrap.broker_files import USER, refuse_if_there, write_broker_files
from hilum.config import FILE_NAME, Settings, default_data_dir, settings_from
from hilum.domain.errors import SettingsError

QUESTIONS = {
    "site": "Short name of this place (lower case, for topics)",
    "time_zone": "Time zone",
    "mqtt_host": "Address of the MQTT broker",
    "mqtt_port": "Port of the MQTT broker",
    "mqtt_user": "Name Hilum signs in with at the broker (empty: none)",
    "mqtt_password": "Its password (empty: none)",
}
SECRET = "mqtt_password"  # noqa: S105 - the name of a setting
BROKER = "Make a name and a password for Hilum at a broker (say no if the broker has them already)"


def write_settings(
    data_dir: Path | None,
    given: Mapping[str, str | int | None],
    *,
    ask: bool,
    broker: bool | None = None,
) -> Path:
    """Write ``hilum.toml`` from what was given, asking for the rest.

    Parameters
    ----------
    data_dir : Path or None
        Folder of the database and the settings; made if it is not there.
    given : mapping
        Values by name of setting; ``None`` is asked for, or left at its default.
    ask : bool
        Whether a person is there to answer.
    broker : bool or None
        Whether to make a name and a password for Hilum at the broker, in files for it in the
        folder ``broker``; ``None`` is asked for, or taken as no.

    Returns
    -------
    Path
        The file; only its owner can read it, since it may hold a password.

    Raises
    ------
    SettingsError
        There is a file already, or a value cannot be used; nothing is written then.
    """
    folder = data_dir or default_data_dir()
    path = folder / FILE_NAME
    if path.exists():
        raise SettingsError(f"{path} is there already; edit it, or choose another --data-dir.")
    refuse_if_there(folder)
    values = {name: value for name, value in given.items() if value is not None}
    if ask:
        values |= _answers(values, ("site", "time_zone"))
        broker = _confirmed(BROKER) if broker is None else broker
        if not broker:
            values |= _answers(values, tuple(QUESTIONS))
    else:
        values.setdefault("time_zone", local_time_zone())
    settings_from(values, folder)
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    if broker:
        values |= {"mqtt_user": USER, SECRET: write_broker_files(folder)}
    checked = settings_from(values, folder)
    text = "# Settings of Hilum. Restart it after a change.\n" + "".join(
        f"{name} = {json.dumps(value, ensure_ascii=False)}\n" for name, value in values.items()
    )
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text)
    with open_store(checked):
        pass
    return path


def _confirmed(question: str) -> bool:
    import typer  # noqa: PLC0415 - only where somebody is asked

    return typer.confirm(question, default=True)


def _answers(known: Mapping[str, str | int], names: Sequence[str]) -> dict[str, str | int]:
    import typer  # noqa: PLC0415 - only where somebody is asked

    answers: dict[str, str | int] = {}
    for name in names:
        if name in known:
            continue
        question = QUESTIONS[name]
        default = local_time_zone() if name == "time_zone" else Settings.model_fields[name].default
        answer = typer.prompt(
            question, default="" if default is None else default, hide_input=name == SECRET
        )
        if answer != "":
            answers[name] = answer
    return answers


def local_time_zone() -> str:
    """Name of this machine's time zone, as well as it can be told; else UTC."""
    named = os.environ.get("TZ", "").lstrip(":")
    link = Path("/etc/localtime")
    if not named and link.is_symlink():
        named = str(link.resolve()).partition("zoneinfo/")[2]
    if not named and Path("/etc/timezone").is_file():
        named = Path("/etc/timezone").read_text(encoding="utf-8").strip()
    return named if "/" in named else "UTC"
