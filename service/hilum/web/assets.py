"""Finds templates and static files, and serves the latter for ever under the hash of their content.

An installed Hilum carries the files in ``hilum/_web``; a checkout has them in ``dashboards``.
"""

import hashlib
import os
from importlib.resources import files
from pathlib import Path

from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from hilum.domain.errors import PartMissingError

FOR_EVER = "public, max-age=31536000, immutable"
ASK_AGAIN = "no-cache"


def web_folder() -> Path:
    """Folder that holds ``templates`` and ``static``."""
    package = Path(str(files("hilum")))
    places = (package / "_web", package.parent.parent / "dashboards")
    for place in places:
        if (place / "templates").is_dir() and (place / "static").is_dir():
            return place
    raise PartMissingError(
        f"The web pages are missing: neither {places[0]} nor {places[1]} holds them. "
        "Install Hilum again."
    )


class StaticUrls:
    """Addresses of static files, with the hash of the content so that a change is seen at once."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._known: dict[str, tuple[int, str]] = {}

    def __call__(self, name: str) -> str:
        """Address of a static file; the hash is computed again when the file has changed."""
        path = self._folder / name
        changed_ns = path.stat().st_mtime_ns
        known = self._known.get(name)
        if known is None or known[0] != changed_ns:
            known = (changed_ns, hashlib.sha256(path.read_bytes()).hexdigest()[:12])
            self._known[name] = known
        return f"/static/{name}?v={known[1]}"


class HashedFiles(StaticFiles):
    """Static files that may be kept for ever when asked for with a hash."""

    def file_response(
        self,
        full_path: str | os.PathLike[str],
        stat_result: os.stat_result,
        scope: Scope,
        status_code: int = 200,
    ) -> Response:
        """Add the cache header."""
        response = super().file_response(full_path, stat_result, scope, status_code)
        hashed = scope.get("query_string", b"").startswith(b"v=")
        response.headers["Cache-Control"] = FOR_EVER if hashed else ASK_AGAIN
        return response
