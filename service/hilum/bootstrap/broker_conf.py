"""What in a Mosquitto configuration would lose readings, or let in whom it should not."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from ipaddress import ip_address
from pathlib import Path

from hilum.domain.errors import SettingsError
from hilum.ingest.screen import MAX_PAYLOAD

DAYS = {"h": 1 / 24, "d": 1.0, "w": 7.0, "m": 30.0, "y": 365.0}  # mosquitto.conf(5)
ON = ("true", "1")
QUEUED_BYTES = 167  # of a waiting reading: 3 million are 500 MB (measured; service/broker)
MINUTES_PER_DAY = 1440


@dataclass(frozen=True, slots=True)
class BrokerConf:
    """Options of the broker; those left out have its defaults (mosquitto.conf(5)).

    Attributes
    ----------
    options : dict of str
        All of them; of one given twice the last counts.
    listeners : list of dict of str
        For each ``listener`` (or ``port``) the options that stand below it.
    """

    options: dict[str, str] = field(default_factory=dict)
    listeners: list[dict[str, str]] = field(default_factory=list)

    def of(self, listener: Mapping[str, str], name: str) -> str:
        """What an option about access is at a listener; empty where it is not given."""
        each = self.options.get("per_listener_settings", "false") in ON
        return (listener if each else self.options).get(name, "")

    def whole(self, name: str, default: int) -> int:
        """What a number is."""
        text = self.options.get(name, "")
        return int(text) if text.isdigit() else default


def read_conf(path: Path) -> BrokerConf:
    """Read a configuration file, and those of its ``include_dir``.

    Raises
    ------
    SettingsError
        A file cannot be read.
    """
    conf = BrokerConf()
    for name, value in _lines(path):
        conf.options[name] = value
        if name in {"listener", "port"}:
            conf.listeners.append({"listener": value})
        elif conf.listeners:
            conf.listeners[-1][name] = value
    return conf


def _lines(path: Path) -> Iterator[tuple[str, str]]:
    for line in readable(path).splitlines():
        words = line.split(maxsplit=1)
        if len(words) == 2 and line[0] != "#":
            name, value = words[0], words[1].strip()
            yield name, value
            if name == "include_dir":
                for each in sorted(Path(value).glob("*.conf")):
                    yield from _lines(each)


def readable(path: Path) -> str:
    """Give the text of a file of the broker.

    Raises
    ------
    SettingsError
        It cannot be read.
    """
    try:
        return path.read_text(encoding="utf-8")
    except PermissionError as error:
        raise SettingsError(
            f"This user may not read {path}. To let the user hilum read it: sudo usermod -aG "
            f"mosquitto hilum; sudo chgrp mosquitto {path}; sudo chmod 640 {path}"
        ) from error
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"The broker's file {path} cannot be read: {error}") from error


def losses(conf: BrokerConf, session_days: int) -> list[str]:
    """Say what would lose readings, a sentence each.

    Parameters
    ----------
    conf : BrokerConf
        Options of the broker.
    session_days : int
        For how many days the broker is to keep what comes while Hilum is away.

    Returns
    -------
    list of str
        Empty when all is well.
    """
    found = []
    if conf.options.get("persistence", "false") not in ON:
        found.append("“persistence” is off: what waits for Hilum is lost when the broker stops.")
    elif conf.options.get("autosave_on_changes", "false") not in ON and not conf.whole(
        "autosave_interval", 1800
    ):
        found.append("“autosave_interval” is 0: what waits for Hilum is lost in a power cut.")
    most = conf.whole("max_queued_messages", 1000)
    if most:
        found.append(
            f"“max_queued_messages” is {most:,}: beyond that, readings are dropped in silence "
            "(0: no limit)."
        )
    return [*found, *_too_small(conf, session_days), *_too_short(conf, session_days)]


def _too_small(conf: BrokerConf, session_days: int) -> Iterator[str]:
    """Limits in bytes; 0 is none."""
    least = session_days * MINUTES_PER_DAY * QUEUED_BYTES
    if 0 < (most := conf.whole("max_queued_bytes", 0)) < least:
        yield (
            f"“max_queued_bytes” is {most:,}: one sensor that reports every minute fills that in "
            f"less than the {session_days} days of the setting mqtt_session_days; what comes then "
            "is dropped in silence."
        )
    for name in ("message_size_limit", "max_packet_size"):
        if 0 < (most := conf.whole(name, 0)) < MAX_PAYLOAD:
            yield (
                f"“{name}” is {most:,}: longer messages are refused, and Hilum would take them up "
                f"to {MAX_PAYLOAD:,} bytes."
            )


def _too_short(conf: BrokerConf, session_days: int) -> Iterator[str]:
    text = conf.options.get("persistent_client_expiration")
    if text is not None:
        days = DAYS.get(text[-1:], 0.0) * int(text[:-1]) if text[:-1].isdigit() else 0.0
        if days < session_days:
            yield (
                f"“persistent_client_expiration” is {text}: shorter than the {session_days} days "
                "of the setting mqtt_session_days."
            )


def open_doors(conf: BrokerConf) -> list[str]:
    """Say who from other machines gets further than they should, a sentence each.

    Without any listener the broker answers its own machine alone. Where a plugin decides on names
    and passwords, only TLS is looked at.

    Returns
    -------
    list of str
        Empty when all is well.
    """
    found = []
    for listener in conf.listeners:
        if not _local(listener):
            port = listener["listener"].split()[0]
            if not {"certfile", "psk_hint"} & listener.keys():
                found.append(
                    f"Port {port} answers other machines without TLS: passwords and readings cross "
                    "the network in the open."
                )
            if not {"plugin", "auth_plugin"} & conf.options.keys():
                found += _strangers(conf, listener, port)
    return found


def _strangers(conf: BrokerConf, listener: Mapping[str, str], port: str) -> Iterator[str]:
    if conf.of(listener, "allow_anonymous") in ON:
        yield f"“allow_anonymous” is on: whoever reaches port {port} comes in without a password."
    if not conf.of(listener, "acl_file"):
        yield f"“acl_file” is missing: at port {port} each sensor can speak for every other one."


def _local(listener: Mapping[str, str]) -> bool:
    """Whether a listener is for this machine alone: a loopback address, or a socket in a file."""
    port, _, address = listener["listener"].partition(" ")
    address = address.strip() or listener.get("bind_address", "")
    try:
        return port == "0" or address == "localhost" or ip_address(address).is_loopback
    except ValueError:
        return False
