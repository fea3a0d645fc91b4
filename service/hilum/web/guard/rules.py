"""Who may ask for what: one line per route. What stands in no line is for the owner alone.

A test holds this table against the routes there are, both ways, so that a new route cannot go
without a decision.
"""

from collections.abc import Mapping

from hilum.web.guard.callers import Who

EVERYBODY = frozenset(Who)
OWNER = frozenset({Who.OWNER})
LOOK = OWNER | {Who.SHARE}
READ = LOOK | {Who.READ}
DEVICE = frozenset({Who.INGEST})

_DEEDS = (
    "/boxes/new",
    "/boxes/{key}/edit",
    "/boxes/{key}/archive",
    "/boxes/{key}/opened",
    "/boxes/{key}/swap",
    "/boxes/{key}/weighed",
    "/boxes/{key}/note",
    "/sensors/claim",
    "/sensors/end",
    "/sensors/correct",
    *(f"/sensors/correct/{step}" for step in ("salts", "read", "offset", "save")),
    "/sensors/uncorrect",
    "/lots/new",
    "/lots/move",
    "/lots/{key}/edit",
    "/lots/{key}/use",
    "/lots/{key}/split",
    "/lots/{key}/archive",
    "/lots/{key}/test",
    "/lots/{key}/note",
    "/journal/note",
    "/strike",
    "/alerts/{key}/seen",
    "/settings/test",
    "/rules/set",
    "/rules/reset",
    *(f"/rules/{what}{back}" for what in ("quiet", "digest") for back in ("", "/reset")),
    "/season/new",
    *(f"/season/{{key}}/{deed}" for deed in ("edit", "add", "remove", "drop")),
)
"""A page with a form, and what the form is sent to."""

_ACCESS = ("password", "grant", "withdraw", "sign-out", "sign-out-everywhere")

RULES: Mapping[str, frozenset[Who]] = {
    "GET /healthz": EVERYBODY,
    "GET /sign-in": EVERYBODY,
    "POST /sign-in": EVERYBODY,
    "GET /first-password": EVERYBODY,
    "POST /first-password": EVERYBODY,
    "GET /shared/{key}": EVERYBODY,
    "GET /": LOOK,
    "GET /boxes/{slug}": LOOK,
    "GET /lots": LOOK,
    "GET /lots/{code}": LOOK,
    "GET /lots/labels": OWNER,
    "GET /journal": LOOK,
    "GET /lots/{code}/compare": LOOK,
    "GET /boxes/{slug}/compare": LOOK,
    "GET /boxes/{slug}/review": LOOK,
    "GET /settings": OWNER,
    "GET /rules": OWNER,
    "GET /journal/export.csv": OWNER,
    "GET /lots/export.csv": OWNER,
    "GET /lots/export.xlsx": OWNER,
    **{
        f"{method} /lots/import{key}": OWNER for method in ("GET", "POST") for key in ("", "/{key}")
    },
    "GET /lots/import/{key}/rejected.csv": OWNER,
    "GET /season": OWNER,
    "GET /season/{key}": OWNER,
    "GET /season/{key}/order.csv": OWNER,
    "GET /season/{key}/order.xlsx": OWNER,
    "GET /sure": LOOK,
    "GET /live": LOOK,
    "GET /sensors": OWNER,
    "GET /sensors/heard": OWNER,
    "GET /access": OWNER,
    **{f"POST /access/{name}": OWNER for name in _ACCESS},
    **{f"{method} {path}": OWNER for path in _DEEDS for method in ("GET", "POST")},
    "GET /api/openapi.json": READ,
    "GET /api/boxes/{slug}/history": READ,
    "POST /api/readings": DEVICE,
}
"""Method and address of a route, and who may ask for it. Static files are for everybody."""
