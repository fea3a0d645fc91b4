"""Fixtures of the tests of telling."""

from pathlib import Path

import pytest

from notify.servers import Certificates, certificates
from plugins.mosquitto import broker

__all__ = ["broker"]


@pytest.fixture(scope="session")
def certs(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    """Certificates for this machine."""
    folder: Path = tmp_path_factory.mktemp("certs")
    return certificates(folder)
