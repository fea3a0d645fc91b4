"""Writes the broker's files: Hilum's name and password at it, and what Hilum may read and write."""

import base64
import hashlib
import os
import secrets
from pathlib import Path

from hilum.domain.errors import SettingsError

FOLDER = "broker"
USER = "hilum"
ROUNDS = 101  # what mosquitto_passwd takes; the password is long and made by chance
RULES = """\
# Hilum itself: reads every sensor, publishes the state of boxes and alerts.
user hilum
topic read hilum/+/+/readings
topic read hilum/+/+/status
# What workers (hilum ingest) tell hilum serve:
topic readwrite hilum/+/arrived
topic write hilum/+/boxes/+/state
topic write hilum/+/alerts/+
# Which device the broker turned away:
topic read $SYS/broker/log/#
# For each source in hilum.toml, its filter with + for {sensor}:
#topic read garden/+/temperature
"""


def refuse_if_there(data_dir: Path) -> None:
    """Refuse to make files that are there already: sensors may have been added to them.

    Raises
    ------
    SettingsError
        One of them is there.
    """
    for path in _paths(data_dir):
        if path.exists():
            raise SettingsError(f"{path} is there already; nothing was changed.")


def write_broker_files(data_dir: Path) -> str:
    """Write ``hilum.passwd`` and ``hilum.acl`` into the folder ``broker``.

    Parameters
    ----------
    data_dir : Path
        Folder of the settings.

    Returns
    -------
    str
        The password of the user ``hilum``; the file holds only its hash.
    """
    password = secrets.token_urlsafe(24)
    (data_dir / FOLDER).mkdir(exist_ok=True, mode=0o700)
    texts = (f"{USER}:{hashed(password, secrets.token_bytes(12))}\n", RULES)
    for path, text in zip(_paths(data_dir), texts, strict=True):
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
    return password


def hashed(password: str, salt: bytes) -> str:
    """Hash a password as Mosquitto 2 reads it: PBKDF2 with HMAC-SHA512."""
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, ROUNDS)
    parts = (base64.b64encode(part).decode() for part in (salt, digest))
    return f"$7${ROUNDS}${'$'.join(parts)}"


def _paths(data_dir: Path) -> tuple[Path, Path]:
    return data_dir / FOLDER / "hilum.passwd", data_dir / FOLDER / "hilum.acl"
