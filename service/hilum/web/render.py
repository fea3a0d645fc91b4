"""Turns a context into a page."""

import re
from contextlib import suppress
from importlib.metadata import version
from pathlib import Path

import jinja2
from jinja2.bccache import Bucket
from markupsafe import Markup, escape
from starlette.requests import Request
from starlette.responses import HTMLResponse

from hilum.domain.ports import Clock
from hilum.web.assets import StaticUrls
from hilum.web.guard.callers import Caller, Who
from hilum.web.views.contexts import Chrome, NavItem

NAV = (
    ("Boxes", "/"),
    ("Lots", "/lots"),
    ("Season", "/season"),
    ("Journal", "/journal"),
    ("Sensors", "/sensors"),
)
LOOKED_AT = frozenset({"/", "/lots", "/journal"})
"""Pages that who has a shared link may look at."""

SECTIONS = {"/boxes": "/"}
"""First part of an address, where it is not that of the page in the list."""

TOGETHER = re.compile(
    r"\d{4}-\d\d(?:-\d\d)?|(?:(?<!\w)[−-])?\d+(?:[.,–]\d+)*[ \u00a0]"
    r"(?:%|°[CF]|(?:[gLh]|(?:year|month|day|hour)s?)\b)"
)
"""Dates, and figures with their units: a line must not end within one."""


def whole(text: str) -> Markup:
    """Keep each date and each figure with its unit on one line, with a true minus sign."""

    def kept(found: re.Match[str]) -> str:
        words = found.group()
        words = words.replace("-", "−") if words.startswith("-") else words
        return f'<span class="one">{words}</span>'

    return Markup(TOGETHER.sub(kept, str(escape(text))))  # noqa: S704 - escaped just now


class Compiled(jinja2.FileSystemBytecodeCache):
    """Templates as they are run, so that the first page need not wait until they are compiled.

    A page never fails for want of room on the disk, nor for what the disk made of a file.
    """

    def load_bytecode(self, bucket: Bucket) -> None:
        """Take what is there, if it can be read."""
        try:
            super().load_bytecode(bucket)
        except Exception:  # noqa: BLE001 - whatever it is, the template is compiled again
            bucket.reset()

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Write it down, if that can be done."""
        with suppress(OSError):
            super().dump_bytecode(bucket)


def compiled_in(folder: Path | None) -> Compiled | None:
    """Keep compiled templates in a folder of the present version of the library; ``None``: not."""
    if folder is None:
        return None
    place = folder / f"templates-{version('jinja2')}"
    with suppress(OSError):
        place.mkdir(parents=True, exist_ok=True, mode=0o700)
    return Compiled(str(place))


def environment(
    folder: Path, static_url: StaticUrls, compiled: Path | None = None
) -> jinja2.Environment:
    """Templates from a folder: everything escaped, and a misspelt name is an error."""
    env = jinja2.Environment(
        loader=jinja2.FileSystemLoader(folder),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        bytecode_cache=compiled_in(compiled),
    )
    env.globals["static"] = static_url
    env.filters["whole"] = whole
    return env


class Renderer:
    """Renders pages of one place."""

    def __init__(self, env: jinja2.Environment, site: str, clock: Clock) -> None:
        self._env = env
        self._site = site
        self._clock = clock

    def html(
        self, template: str, page: object, path: str, form_token: str, *, owner: bool = True
    ) -> str:
        """Render a page; ``path`` tells which entry of the list of pages is current."""
        chrome = Chrome(
            site=self._site,
            nav=nav_for(path) if owner else tuple(i for i in nav_for(path) if i.url in LOOKED_AT),
            now_ms=self._clock.now_ms(),
            form_token=form_token,
            owner=owner,
        )
        return self._env.get_template(template).render(page=page, chrome=chrome)

    def __call__(
        self, request: Request, template: str, page: object, status: int = 200
    ) -> HTMLResponse:
        """Answer a request with a page."""
        token = getattr(request.state, "form_token", "")
        caller: Caller | None = getattr(request.state, "caller", None)
        looks_only = caller is not None and caller.who is Who.SHARE
        html = self.html(template, page, request.url.path, token, owner=not looks_only)
        return HTMLResponse(html, status_code=status)


def nav_for(path: str) -> tuple[NavItem, ...]:
    """List the pages, with the one marked that holds an address."""
    first = "/" + path.split("/")[1]
    section = SECTIONS.get(first, first)
    return tuple(NavItem(name, url, url == section) for name, url in NAV)
