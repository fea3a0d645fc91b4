"""What sensors say, from the broker or by HTTP: parsed, screened, stored, then acknowledged."""

from hilum.ingest.screen import Decoded, screen_reading
from hilum.ingest.senml import decode_senml
from hilum.ingest.service import Ingest, IngestStatus
from hilum.ingest.settings import BrokerSettings, IngestSettings
from hilum.ingest.sources import Place, Source

__all__ = [
    "BrokerSettings",
    "Decoded",
    "Ingest",
    "IngestSettings",
    "IngestStatus",
    "Place",
    "Source",
    "decode_senml",
    "screen_reading",
]
