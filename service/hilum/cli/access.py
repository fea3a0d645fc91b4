"""Who may come in, from the command line: the password, tokens and shared links."""

import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer

from hilum.cli.options import DataDir, Json, print_json
from hilum.domain.access import Grant, Scope
from hilum.domain.errors import InvalidInputError, NotFoundError

if TYPE_CHECKING:
    from hilum.config import Settings
    from hilum.domain.ports import Store

tokens = typer.Typer(help="Tokens: devices that send, programs that read.", no_args_is_help=True)
share = typer.Typer(help="Links by which others look at the pages.", no_args_is_help=True)

Days = Annotated[int | None, typer.Option(min=1, help="For how many days; else until you end it.")]
Number = Annotated[int, typer.Argument(help="Its number, as in the list.")]
ONCE = "It is shown this once."


def password(data_dir: DataDir = None) -> None:
    """Set the password of the pages; every browser is signed out.

    Example: hilum password
    """
    from hilum.bootstrap import open_store
    from hilum.config import load_settings
    from hilum.web.guard.passwords import check_new, hash_of

    settings = load_settings(data_dir)
    given = _ask_password()
    check_new(given, (settings.site,))
    with open_store(settings) as store:
        store.set_password_hash(hash_of(given))
    print("The password is set. Every browser has to sign in anew.")


def _ask_password() -> str:
    """Ask twice at a keyboard; else read one line, so that it never stands among arguments."""
    if sys.stdin.isatty():
        answer: str = typer.prompt("New password", hide_input=True, confirmation_prompt="Once more")
        return answer
    line = sys.stdin.readline().rstrip("\r\n")
    if not line:
        raise InvalidInputError("There is no password to read: type it, or send it in as a line.")
    return line


@tokens.command("add")
def add_token(
    name: Annotated[str, typer.Argument(help="What you call it: which device or program.")],
    sensor: Annotated[
        str | None, typer.Option("--sensor", help="The one sensor whose readings it may send.")
    ] = None,
    read: Annotated[bool, typer.Option("--read", help="It may read values.")] = False,
    days: Days = None,
    data_dir: DataDir = None,
) -> None:
    """Make a token, to send readings of one sensor or to read values.

    Example: hilum tokens add "Shed logger" --sensor shed-1
    """
    if (sensor is None) == (not read):
        raise InvalidInputError("Say what it is for: --sensor NAME, or --read.", "sensor")
    grant, key = _give(data_dir, Scope.READ if read else Scope.INGEST, name, sensor or "", days)
    for_what = f"readings of {grant.sensor}" if grant.sensor else "reading values"
    print(f"Token {grant.id} for {for_what}. {ONCE}\n{key}")


@share.command("add")
def add_link(
    name: Annotated[str, typer.Argument(help="What you call it: who gets it.")],
    days: Days = None,
    data_dir: DataDir = None,
) -> None:
    """Make a link by which somebody looks at the pages and changes nothing.

    Example: hilum share add "Neighbour" --days 30
    """
    from hilum.bootstrap.doors import ELSEWHERE, here
    from hilum.config import load_settings

    settings = load_settings(data_dir)
    grant, key = _give(data_dir, Scope.SHARE, name, "", days)
    place = (settings.public_url or here(settings)).rstrip("/")
    print(f"Link {grant.id}. {ONCE}\n{place}/shared/{key}")
    if not settings.public_url:
        print(ELSEWHERE)


def _give(
    data_dir: DataDir, scope: Scope, name: str, sensor: str, days: int | None
) -> tuple[Grant, str]:
    from hilum.bootstrap import open_store, system_clock
    from hilum.config import load_settings
    from hilum.keeping.access import give

    settings = load_settings(data_dir)
    if sensor and "/" not in sensor:
        sensor = f"{settings.site}/{sensor}"
    with open_store(settings) as store:
        return give(store, scope, name, system_clock().now_ms(), sensor=sensor, days=days)


@tokens.command("list")
def list_tokens(as_json: Json = False, data_dir: DataDir = None) -> None:
    """List the tokens.

    Example: hilum tokens list
    """
    _list(data_dir, (Scope.INGEST, Scope.READ), as_json, "tokens")


@share.command("list")
def list_links(as_json: Json = False, data_dir: DataDir = None) -> None:
    """List the links that were shared.

    Example: hilum share list
    """
    _list(data_dir, (Scope.SHARE,), as_json, "links")


def _list(data_dir: DataDir, scopes: tuple[Scope, ...], as_json: bool, what: str) -> None:
    from hilum.bootstrap import open_store, system_clock
    from hilum.config import load_settings

    settings = load_settings(data_dir)
    with open_store(settings) as store:
        found = _of(store, scopes)
    if as_json:
        print_json({what: [_as_data(grant) for grant in found]})
        return
    now_ms = system_clock().now_ms()
    for grant in found:
        good_for = f"{grant.scope} {grant.sensor}".strip()
        print(f"{grant.id}\t{grant.name}\t{good_for}\t{_state(grant, now_ms, settings)}")
    if not found:
        print(f"There are no {what}.")


def _of(store: "Store", scopes: tuple[Scope, ...]) -> list[Grant]:
    return [grant for grant in store.grants() if grant.scope in scopes]


def _as_data(grant: Grant) -> dict[str, object]:
    """Everything but what is kept of the key."""
    return {
        "id": grant.id,
        "name": grant.name,
        "scope": str(grant.scope),
        "sensor": grant.sensor or None,
        "made_ms": grant.made_ms,
        "until_ms": grant.until_ms,
        "withdrawn_ms": grant.withdrawn_ms,
        "used_ms": grant.used_ms,
    }


def _state(grant: Grant, now_ms: int, settings: "Settings") -> str:
    def day(time_ms: int) -> str:
        when = datetime.fromtimestamp(time_ms / 1000, UTC)
        return f"{when.astimezone(ZoneInfo(settings.time_zone)):%Y-%m-%d}"

    used = "never used" if grant.used_ms is None else f"last used {day(grant.used_ms)}"
    if grant.withdrawn_ms is not None:
        return f"withdrawn {day(grant.withdrawn_ms)}, {used}"
    if not grant.holds(now_ms):
        return f"ended, {used}"
    return f"holds, {used}"


@tokens.command("revoke")
def revoke_token(number: Number, data_dir: DataDir = None) -> None:
    """Withdraw a token; from now on it opens nothing.

    Example: hilum tokens revoke 3
    """
    _withdraw(data_dir, (Scope.INGEST, Scope.READ), number)
    print(f"Token {number} is withdrawn.")


@share.command("withdraw")
def withdraw_link(number: Number, data_dir: DataDir = None) -> None:
    """Withdraw a link; from now on it opens nothing.

    Example: hilum share withdraw 2
    """
    _withdraw(data_dir, (Scope.SHARE,), number)
    print(f"Link {number} is withdrawn.")


def _withdraw(data_dir: DataDir, scopes: tuple[Scope, ...], number: int) -> None:
    from hilum.bootstrap import open_store, system_clock
    from hilum.config import load_settings

    with open_store(load_settings(data_dir)) as store:
        if number not in {grant.id for grant in _of(store, scopes)}:
            raise NotFoundError(f"There is none with the number {number}; see the list.")
        store.withdraw_grant(number, system_clock().now_ms())
