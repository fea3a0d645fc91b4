"""The page of labels, to be printed: for lots that were ticked, and for boxes."""

from collections.abc import Callable

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from hilum.domain.errors import InvalidInputError, NotFoundError
from hilum.web.parts import LOOPBACK_NAMES, WebParts
from hilum.web.render import Renderer
from hilum.web.views.importcontexts import LabelsPage, LabelView

URL = "/lots/labels"
MOST = 500
NO_CODE = (
    "These labels carry no QR code, because it is not known how a phone reaches Hilum: set "
    "public_url in the settings, or open this page under the address the phone would use."
)


def site_of(request: Request, public_url: str) -> str:
    """Address of Hilum for labels: as it was set, else as it was asked for from elsewhere."""
    if public_url:
        return public_url
    if (request.url.hostname or "") in LOOPBACK_NAMES:
        return ""
    return str(request.base_url).rstrip("/")


def labels(parts: WebParts, render: Renderer) -> Callable[[Request], Response]:
    """Labels for what was ticked; for every lot where nothing was."""

    def page(request: Request) -> Response:
        if parts.sheets is None:
            raise NotFoundError("Nobody prints labels here.")
        codes, boxes = (request.query_params.getlist(name) for name in ("lot", "box"))
        if not codes and not boxes:
            codes = [lot.code for lot in parts.store.lots() if not lot.archived]
        if not 0 < len(codes) + len(boxes) <= MOST:
            raise InvalidInputError(f"Tick lots to print labels for, {MOST} at most.", "lot")
        site = site_of(request, parts.settings.public_url)
        made = parts.sheets().labels(codes, boxes, site)
        views = tuple(
            LabelView(each.title, each.lines, each.code, Markup(each.drawing))  # noqa: S704 - ours
            for each in made
        )
        words = f"The codes open {site}." if site else NO_CODE
        return render(request, "labels.html", LabelsPage("Labels", words, views))

    return page
