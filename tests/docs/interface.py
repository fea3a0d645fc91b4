"""The page about the JSON interface, written from the description the program gives of itself."""

from collections.abc import Iterator
from typing import Any

HEAD = """# For programs

<!-- Written by tests/docs/interface.py from what the program says of itself. -->

Under `/api` programs read values, and devices without MQTT send them. Each shows a token that was
made for it (`hilum tokens add "Spreadsheet" --read`, see [who may come in](access.md)):

```sh
curl -H "Authorization: Bearer $TOKEN" http://127.0.0.1:8420/api/boxes/blue-tub/history
```

The whole description, for programs that read such things, is under `/api/openapi.json` (OpenAPI).
Every error has one shape: `{"error": {"code": …, "message": …, "field": …}}`, the message being a
sentence for a person. Live values of boxes come from `/live` as server-sent events, in the shape
the pages use, which may change. For figures of lots and seasons use the commands with `--json`, or
[the seed list](seed-list.md#out-again). MQTT carries the state of boxes and alerts:
[alerts](alerts.md).
"""


def interface_page() -> str:
    """Every address with its parameters and answers."""
    description = described()
    schemas = description["components"]["schemas"]
    parts = [HEAD]
    for path, methods in description["paths"].items():
        for method, what in methods.items():
            parts.append(f"\n## {method.upper()} {path}\n\n{what['description']}\n")
            parts.append("".join(_sections(what, schemas)))
    return "".join(parts)


def described() -> dict[str, Any]:
    """The description as ``/api/openapi.json`` gives it."""
    from hilum.bootstrap import system_clock
    from hilum.stores.memory import MemoryStore
    from hilum.web.app import create_app
    from hilum.web.live import LiveHub
    from hilum.web.parts import IngestStatus, Taken, WebParts

    parts = WebParts(
        *(MemoryStore(), system_clock(), LiveHub()),
        lambda: IngestStatus(connected=False, broker="off"),
        ingest_http=lambda _sensor, _message: Taken(0, 0, ()),
    )
    found: dict[str, Any] = create_app(parts).openapi()
    return found


def _sections(what: dict[str, Any], schemas: dict[str, Any]) -> Iterator[str]:
    given = what.get("parameters", ())
    if given:
        yield "\n| parameter | what |\n| --- | --- |\n"
        yield from (f"| `{one['name']}` | {_parameter(one)} |\n" for one in given)
    if "requestBody" in what:
        (kind,) = what["requestBody"]["content"]
        yield f"\nSend `{kind}`: {what['requestBody']['description']}.\n"
    good, *others = sorted(what["responses"].items())
    shape = good[1]["content"]["application/json"]["schema"]["$ref"].rpartition("/")[2]
    yield f"\n{' '.join(schemas[shape]['description'].split()).replace('``', '`')}\n"
    yield "\n| field | what |\n| --- | --- |\n"
    yield from (
        f"| `{name}` | {field.get('description', '')} |\n"
        for name, field in schemas[shape]["properties"].items()
    )
    yield "\n| else | why |\n| --- | --- |\n"
    yield from (f"| {code} | {answer['description']} |\n" for code, answer in others)


def _parameter(one: dict[str, Any]) -> str:
    shape = one["schema"]
    words = one.get("description") or ("part of the address" if one["in"] == "path" else "")
    limits = [
        f"{low}{shape[key]}"
        for key, low in (("minimum", "at least "), ("maximum", "at most "), ("default", "usually "))
        if key in shape
    ]
    return "; ".join(part for part in (words, ", ".join(limits)) if part)
