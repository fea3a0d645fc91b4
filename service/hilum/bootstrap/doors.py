"""Under which names the pages are served, who needs a password, and how the first one is set."""

import ipaddress
from collections.abc import Sequence
from urllib.parse import urlsplit

from hilum.config import Settings
from hilum.domain.ports import AccessStore
from hilum.keeping.access import digest_of
from hilum.web.guard.limits import host_name
from hilum.web.parts import LOOPBACK_NAMES, Doors

ELSEWHERE = "From another device, put the address of this machine in the place of its name."


def is_loopback(host: str) -> bool:
    """Tell whether an address leads to this machine only."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def doors_of(settings: Settings, first_key: str) -> Doors:
    """Decide by the settings; ``first_key`` is that of the link which sets the first password.

    Pages are for this machine alone only if nothing in the settings speaks of others: a proxy in
    front listens on this machine too, and brings in whoever asks it.
    """
    loopback = is_loopback(settings.host)
    public = urlsplit(settings.public_url or "").netloc
    others = settings.allowed_hosts or settings.trusted_proxies or public
    names = (settings.host, public, *settings.allowed_hosts)
    named = {host_name(name) for name in names if name}
    return Doors(
        local=loopback and not others,
        hosts=LOOPBACK_NAMES | named,
        any_number=not loopback,
        first_key=digest_of(first_key),
    )


def here(settings: Settings) -> str:
    """Address of the pages on this machine, without a slash at its end."""
    host = "localhost" if settings.host in {"0.0.0.0", "::"} else settings.host  # noqa: S104 - asked
    host = f"[{host}]" if ":" in host else host
    return f"http://{host}:{settings.port}"


def first_link(settings: Settings, store: AccessStore, first_key: str) -> Sequence[str]:
    """Tell how the first password is set, in lines; none where there is one or none is needed."""
    if doors_of(settings, first_key).local or store.password_hash():
        return ()
    lines = (
        "No password is set, so the pages stay closed (readings are kept). Set one here, once:",
        f"  {(settings.public_url or here(settings)).rstrip('/')}/first-password?key={first_key}",
    )
    return lines if settings.public_url else (*lines, ELSEWHERE)
