"""Encrypted connections that check who answers."""

import ssl
from pathlib import Path

from hilum.domain.errors import SettingsError


def tls_context(ca_file: Path | None) -> ssl.SSLContext:
    """Make a context that checks certificates, by the system's authorities or one's own."""
    try:
        return ssl.create_default_context(cafile=None if ca_file is None else str(ca_file))
    except (OSError, ssl.SSLError) as error:
        raise SettingsError(f"The certificate file {ca_file} cannot be used: {error}") from error
