"""The running service: store, ingest, keeping loop and pages, started and stopped in order."""

import logging
import signal
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from socket import socket
from types import FrameType
from typing import TYPE_CHECKING

from hilum.bootstrap import open_store, system_clock
from hilum.bootstrap.channels import telling_of
from hilum.bootstrap.doors import doors_of, first_link, here
from hilum.bootstrap.health import health
from hilum.bootstrap.http_intake import HttpIntake
from hilum.bootstrap.keeping_loop import KeepingLoop
from hilum.bootstrap.renewing import Renewing
from hilum.bootstrap.watching import Watching
from hilum.config import Settings, SourceSetting
from hilum.domain.errors import HilumError
from hilum.domain.ports import Store
from hilum.ingest import Ingest
from hilum.ingest.settings import BrokerSettings, IngestSettings
from hilum.ingest.sources import Place, Source
from hilum.ingest.topics import Part
from hilum.keeping.access import new_key
from hilum.keeping.reckoning.keeper import LedgerKeeper
from hilum.web.app import create_app
from hilum.web.live import LiveHub
from hilum.web.parts import HealthCheck, IngestStatus, SettingsShown, WebParts, WebSettings

if TYPE_CHECKING:
    from fastapi import FastAPI

    from hilum.web.sheetparts import SheetReader

log = logging.getLogger(__name__)
DAY_S = 86_400
PATIENCE_S = 3.0  # then a page says that it is being worked out
CACHE = "cache"  # in the data folder; what is in it can be made again
PAGES_FIRST_S = 2.0  # who starts Hilum asks for a page at once; what takes long lets it go first
IMPATIENT_S = 1.0  # a second Ctrl+C sooner than this is the same one, sent to a whole group


def source_of(setting: SourceSetting, site: str) -> Source:
    """Turn a source of the settings into one the ingest reads by."""
    asked = {
        "temperature": setting.temperature,
        "humidity": setting.humidity,
        "battery": setting.battery,
    }
    places = {name: Place(q.unit, q.pointer) for name, q in asked.items() if q is not None}
    return Source(setting.topic, site, places, setting.time_pointer)


def ingest_settings(settings: Settings) -> IngestSettings:
    """Pick what the ingest needs from the settings."""
    password = settings.mqtt_password
    return IngestSettings(
        broker=BrokerSettings(
            host=settings.mqtt_host,
            port=settings.mqtt_port,
            username=settings.mqtt_user,
            password=password.get_secret_value() if password else None,
            client_id=settings.mqtt_client_id,
            session_s=settings.mqtt_session_days * DAY_S,
            version=settings.mqtt_version,
            tls=settings.mqtt_tls,
            ca_file=settings.mqtt_ca_file,
            cert_file=settings.mqtt_cert_file,
            key_file=settings.mqtt_key_file,
        ),
        sources=tuple(source_of(source, settings.site) for source in settings.sources),
        max_new_sensors=settings.max_new_sensors,
        part=Part.KEEPING if settings.mqtt_workers else Part.ALL,
        site=settings.site,
    )


class Service:
    """Everything that runs beside the web server.

    Parameters
    ----------
    settings : Settings
        All settings.
    store : Store
        The open database; the caller closes it after :meth:`stop`.
    durable_broker : bool
        Whether the broker keeps messages over its own restart (the embedded one does not).
    """

    def __init__(self, settings: Settings, store: Store, *, durable_broker: bool = True) -> None:
        clock = system_clock()
        self.settings = settings
        self.store = store
        self.hub = LiveHub()
        self._durable = durable_broker
        self._first_key = new_key()
        self._loop = KeepingLoop(LedgerKeeper(store), self._tell)
        self._watching = Watching(settings, store, clock)
        self._ingest = (
            Ingest(store, ingest_settings(settings), clock, self._loop.wake)
            if settings.mqtt
            else None
        )
        parts = self._parts()
        self._renewing = Renewing(parts.kept.renew)
        self.app = self._application(parts)

    def start(self) -> None:
        """Start the keeping loop and the watch, then listen to the broker."""
        self._loop.start(PAGES_FIRST_S)
        self._watching.start(PAGES_FIRST_S)
        self._renewing.start()
        if self._ingest is not None:
            self._ingest.start()

    def stop(self) -> None:
        """Stop in the other order; what was acknowledged is in the database."""
        self.hub.close()
        self._renewing.stop()
        self._watching.stop()
        if self._ingest is not None:
            self._ingest.stop()
        self._loop.stop()

    def first_words(self) -> Sequence[str]:
        """How to set the first password, in lines, where one is needed."""
        return first_link(self.settings, self.store, self._first_key)

    def wake(self, sensors: frozenset[str]) -> None:
        """Say that readings came in by another way than the broker."""
        self._loop.wake(sensors)

    def status(self) -> IngestStatus:
        """How readings arrive, for the pages."""
        if self._ingest is None:
            return IngestStatus(connected=False, broker="off", detail="Listening is switched off.")
        now = self._ingest.status()
        return IngestStatus(
            connected=now.connected,
            broker=f"{self.settings.mqtt_host}:{self.settings.mqtt_port}",
            detail=now.last_error or "",
            durable=self._durable,
            received=now.received,
            stored=now.stored,
            rejected=now.rejected,
            waiting=now.queued,
        )

    def health(self) -> Sequence[HealthCheck]:
        """Whether everything does its work, for whoever watches over it."""
        ingest = None if self._ingest is None else self.status()
        return health(self.store, self.settings.data_dir, self._loop.last_error, ingest)

    def _tell(self, sensors: frozenset[str]) -> None:
        """Let the watch and open pages know which boxes have news."""
        self._watching.wake()
        if not sensors:
            return
        boxes = {p.box for p in self.store.placements() if p.to_ms is None and p.sensor in sensors}
        for box in sorted(boxes):
            self.hub.publish(box)

    def _parts(self) -> WebParts:
        return WebParts(
            store=self.store,
            clock=system_clock(),
            live=self.hub,
            ingest_status=self.status,
            health=self.health,
            changed=lambda: self._loop.wake(frozenset()),
            see=self._watching.see,
            telling=telling_of(self.settings),
            patience_s=PATIENCE_S,
            sheets=self._sheets,
            shown=self._shown,
            try_channel=self._try_channel,
            doors=doors_of(self.settings, self._first_key),
            ingest_http=HttpIntake(self.store, system_clock(), self.wake),
            compiled=self.settings.data_dir / CACHE,
            settings=WebSettings(
                site=self.settings.site,
                time_zone=self.settings.time_zone,
                temperature_unit=self.settings.temperature_unit,
                public_url=self.settings.public_url or "",
            ),
        )

    def _sheets(self) -> "SheetReader":
        from hilum.bootstrap.sheet_reader import Sheets  # noqa: PLC0415 - not needed to start

        return Sheets(self.store, system_clock(), self.settings.time_zone)

    def _shown(self) -> SettingsShown:
        from hilum.bootstrap.settings_view import settings_shown  # noqa: PLC0415 - idem

        return settings_shown(self.settings, system_clock())

    def _try_channel(self, name: str) -> None:
        from hilum.bootstrap.settings_view import try_channel  # noqa: PLC0415 - idem

        try_channel(self.settings, system_clock(), name)

    def _application(self, parts: WebParts) -> "FastAPI":
        app = create_app(parts)
        app.router.lifespan_context = self._lifespan
        return app

    @asynccontextmanager
    async def _lifespan(self, app: "FastAPI") -> AsyncIterator[None]:
        del app
        self.start()
        try:
            yield
        finally:
            self.stop()


def run_service(settings: Settings, say: Callable[[str], None]) -> None:
    """Serve until told to stop; ``say`` tells a person where the pages are."""
    set_up_log()
    with open_store(settings, exclusive=True) as store:
        service = Service(settings, store)
        serve_pages(
            service, lambda: say("\n".join([address_in_words(settings), *service.first_words()]))
        )


def serve_pages(service: Service, ready: Callable[[], None]) -> None:
    """Run the web server; ``ready`` is called once it answers.

    Raises
    ------
    HilumError
        The address is taken or not ours.
    """
    import uvicorn  # noqa: PLC0415 - only where pages are served

    from hilum.bootstrap import patience  # noqa: PLC0415 - idem

    class Server(uvicorn.Server):
        """Says when it answers, ends the streams of live values first, and stops quietly."""

        told = 0.0

        async def startup(self, sockets: list[socket] | None = None) -> None:
            await super().startup(sockets)
            if self.started:
                ready()

        async def shutdown(self, sockets: list[socket] | None = None) -> None:
            service.hub.close()
            await super().shutdown(sockets)

        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            del frame
            now = time.monotonic()
            if self.should_exit and sig == signal.SIGINT and now - self.told > IMPATIENT_S:
                self.force_exit = True
            if not self.should_exit:
                self.told = now
            self.should_exit = True  # and not noted: it would be raised again at the end

    settings = service.settings
    config = uvicorn.Config(
        service.app,
        host=settings.host,
        port=settings.port,
        log_level="error",  # what is no HTTP is answered, and fills no log
        access_log=False,
        server_header=False,
        ws="none",  # there are no websockets, and their library takes long to load
        http=patience.ProxiedProtocol if settings.trusted_proxies else patience.HurriedProtocol,
        proxy_headers=bool(settings.trusted_proxies),
        forwarded_allow_ips=list(settings.trusted_proxies),
        limit_concurrency=patience.MOST_CONNECTIONS,
        timeout_graceful_shutdown=5,
    )
    server = Server(config)
    try:
        server.run()
    except SystemExit as error:
        raise HilumError(
            f"The pages cannot be served on {settings.host}:{settings.port}; is something else "
            "running there? Choose another --port."
        ) from error


def address_in_words(settings: Settings) -> str:
    """Tell where the pages are."""
    return f"Hilum is at {here(settings)}/  (Ctrl+C stops it)"


def set_up_log(level: int = logging.INFO) -> None:
    """Log to standard error, a line each."""
    logging.basicConfig(level=level, format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    for quiet in ("uvicorn.error", "httpx"):
        logging.getLogger(quiet).setLevel(logging.WARNING)
