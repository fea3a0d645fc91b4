"""What the ingest needs to know, handed over by the place that puts the service together."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from hilum.ingest.sources import Source
from hilum.ingest.topics import ROOT, Part

DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """Where the MQTT broker is and how to sign in.

    ``client_id`` is the name of the session at the broker and must stay the same from start to
    start: under it the broker keeps what arrives while Hilum is away, for ``session_s`` seconds.
    ``receive_maximum`` is how many messages may be under way unacknowledged; it must be well above
    the size of a batch, or a strict broker would wait for each batch. ``version`` 3.1.1 is for
    brokers that know no MQTT 5; such a broker keeps the session as long as it likes. With ``leave``
    only what waits for the session is taken, and nothing more is asked for.
    """

    host: str = "127.0.0.1"
    port: int = 1883
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    client_id: str = "hilum"
    session_s: int = 30 * DAY_S
    receive_maximum: int = 2_000
    keepalive_s: int = 60
    retry_max_s: int = 30
    version: Literal["5", "3.1.1"] = "5"
    leave: bool = False
    tls: bool = False
    ca_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None


@dataclass(frozen=True, slots=True)
class IngestSettings:
    """Settings of the ingest.

    ``queue_messages`` and ``queue_bytes`` bound what waits for the writer; when full, the network
    is not read. ``batch_messages`` go into one commit at most; ``linger_s`` is how long a batch
    waits for company. ``max_new_sensors`` unknown sensors that stand in no box are taken in before
    further ones are refused. ``part`` says what this process does, for ``site`` where it keeps one;
    workers share messages under the name ``group``.
    """

    broker: BrokerSettings = field(default_factory=BrokerSettings)
    sources: tuple[Source, ...] = ()
    root: str = ROOT
    part: Part = Part.ALL
    site: str = "home"
    group: str = "hilum"
    max_new_sensors: int = 2_000
    queue_messages: int = 2_000
    queue_bytes: int = 32 * 1024 * 1024
    batch_messages: int = 500
    linger_s: float = 0.01
    retry_s: float = 0.5
    retry_max_s: float = 30.0
