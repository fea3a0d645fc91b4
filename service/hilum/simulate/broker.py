"""A small MQTT broker inside the process, for the demo and a first try on one machine.

It speaks MQTT 3.1.1 only, keeps everything in memory and confirms a message before anybody has
stored it: what it holds is lost when the process ends. Use Mosquitto for anything real.
"""

import asyncio
import logging
import secrets
import socket
import tempfile
import threading
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from hilum.domain.errors import BrokerError, PartMissingError

START_TIMEOUT_S = 10.0
HOST = "127.0.0.1"


class DemoBroker:
    """Broker on a free port of this machine only, with a password made up at each start.

    Use as a context manager, or call :meth:`start` and :meth:`stop`. Connect with MQTT 3.1.1.

    Attributes
    ----------
    host, port : str, int
        Where it listens.
    username, password : str
        What a client must give.

    Raises
    ------
    PartMissingError
        From :meth:`start`: the extra ``demo`` is not installed.
    BrokerError
        From :meth:`start`: it does not come up.
    """

    def __init__(self) -> None:
        self.host = HOST
        self.port = 0
        self.username = "hilum"
        self.password = secrets.token_urlsafe(18)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ready = threading.Event()
        self._failure: BaseException | None = None
        self._stop: asyncio.Event | None = None
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Start in a thread of its own and wait until it listens; a second call does nothing."""
        if self._thread is not None:
            return
        broker_class, password_hash = _parts()
        self.port = _free_port()
        self._ready.clear()
        self._failure = None
        hashed = password_hash(self.password)
        self._thread = threading.Thread(
            target=self._run, args=(broker_class, hashed), name="demo-broker", daemon=True
        )
        self._thread.start()
        if not self._ready.wait(START_TIMEOUT_S) or self._failure is not None:
            failure = self._failure
            self.stop()
            raise BrokerError("The built-in demo broker did not start.") from failure

    def stop(self) -> None:
        """Stop and wait for the thread; a second call does nothing."""
        thread, loop, stop = self._thread, self._loop, self._stop
        if thread is None:
            return
        if loop is not None and stop is not None and thread.is_alive():
            loop.call_soon_threadsafe(stop.set)
        thread.join(START_TIMEOUT_S)
        self._thread = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    def _run(self, broker_class: Any, hashed: str) -> None:  # noqa: ANN401 - a foreign class
        try:
            with tempfile.TemporaryDirectory(prefix="hilum-demo-") as folder:
                users = Path(folder, "users")
                users.write_text(f"{self.username}:{hashed}\n", encoding="utf-8")
                asyncio.run(self._serve(broker_class, _settings(self.port, users)))
        except Exception as error:  # noqa: BLE001 - handed to the thread that waits
            self._failure = error
        finally:
            self._ready.set()

    async def _serve(self, broker_class: Any, settings: dict[str, Any]) -> None:  # noqa: ANN401
        self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()
        broker = broker_class(settings)
        await broker.start()
        self._ready.set()
        await self._stop.wait()
        await broker.shutdown()


def _parts() -> tuple[Any, Any]:
    """The broker's class and a function that hashes a password, or the sentence to act on."""
    for noisy in ("amqtt", "transitions"):
        logging.getLogger(noisy).setLevel(logging.CRITICAL)
    try:
        from amqtt.broker import Broker  # noqa: PLC0415 - an optional part
        from pwdlib.hashers.argon2 import Argon2Hasher  # noqa: PLC0415 - comes with it
    except ImportError as error:
        raise PartMissingError(
            "The demo needs the small built-in broker. Where Hilum was installed from, with its "
            "pip: pip install '.[demo]'"
        ) from error
    return Broker, Argon2Hasher().hash


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def _settings(port: int, users: Path) -> dict[str, Any]:
    return {
        "listeners": {"default": {"type": "tcp", "bind": f"{HOST}:{port}"}},
        "plugins": {
            "amqtt.plugins.authentication.FileAuthPlugin": {"password_file": str(users)},
        },
    }
