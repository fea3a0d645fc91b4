"""What in a Mosquitto configuration would lose readings while Hilum is away."""

from pathlib import Path

from hilum.domain.errors import SettingsError

DAYS = {"h": 1 / 24, "d": 1.0, "w": 7.0, "m": 30.0, "y": 365.0}  # mosquitto.conf(5)
ON = ("true", "1")


def read_conf(path: Path) -> dict[str, str]:
    """Read the global options of a configuration file; of one given twice the last counts.

    Raises
    ------
    SettingsError
        The file cannot be read.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"The broker's configuration {path} cannot be read: {error}") from error
    lines = (line.split(maxsplit=1) for line in text.splitlines() if line[:1] not in {"", "#"})
    return {words[0]: words[1].strip() for words in lines if len(words) == 2}


def losses(conf: dict[str, str], session_days: int) -> list[str]:
    """Say what would lose readings, a sentence each.

    Parameters
    ----------
    conf : dict of str
        Options of the broker; those left out have its defaults (mosquitto.conf(5)).
    session_days : int
        For how many days the broker is to keep what comes while Hilum is away.

    Returns
    -------
    list of str
        Empty when all is well.
    """
    found = []
    if conf.get("persistence", "false") not in ON:
        found.append("“persistence” is off: what waits for Hilum is lost when the broker stops.")
    elif conf.get("autosave_on_changes", "false") not in ON and not _whole(
        conf, "autosave_interval", 1800
    ):
        found.append("“autosave_interval” is 0: what waits for Hilum is lost in a power cut.")
    most = _whole(conf, "max_queued_messages", 1000)
    if most:
        found.append(
            f"“max_queued_messages” is {most:,}: beyond that, readings are dropped in silence "
            "(0: no limit)."
        )
    if "persistent_client_expiration" in conf:
        text = conf["persistent_client_expiration"]
        days = DAYS.get(text[-1:], 0.0) * int(text[:-1]) if text[:-1].isdigit() else 0.0
        if days < session_days:
            found.append(
                f"“persistent_client_expiration” is {text}: shorter than the {session_days} days "
                "of the setting mqtt_session_days."
            )
    return found


def _whole(conf: dict[str, str], name: str, default: int) -> int:
    text = conf.get(name, "")
    return int(text) if text.isdigit() else default
