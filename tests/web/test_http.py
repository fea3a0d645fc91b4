"""Headers, compression, caches and HEAD."""

import re

import pytest
from starlette.testclient import TestClient

from hilum.web.guard.http import SECURITY_HEADERS

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; font-src 'self'; form-action 'self'; frame-ancestors 'none'; "
    "base-uri 'none'"
)


@pytest.mark.parametrize(
    "url", ["/", "/nowhere", "/healthz", "/static/hilum.css", "/static/none.css", "/api/none"]
)
def test_every_answer_carries_the_security_headers(client: TestClient, url: str) -> None:
    """Pages, errors, files and JSON alike."""
    headers = client.get(url).headers
    assert headers["content-security-policy"] == POLICY
    for name, value in SECURITY_HEADERS.items():
        assert headers[name] == value
    assert headers["x-content-type-options"] == "nosniff"


def test_static_files_are_kept_for_ever_under_their_hash(client: TestClient) -> None:
    """Pages name them with the hash; without it a browser asks again each time."""
    html = client.get("/").text
    (url,) = re.findall(r'href="(/static/hilum\.css\?v=[0-9a-f]{12})"', html)
    hashed, bare = client.get(url), client.get("/static/hilum.css")
    assert hashed.headers["cache-control"] == "public, max-age=31536000, immutable"
    assert bare.headers["cache-control"] == "no-cache"
    assert hashed.content == bare.content


def test_pages_are_asked_for_again(client: TestClient) -> None:
    """A page is never shown from a cache without asking, and never kept by others."""
    assert client.get("/").headers["cache-control"] == "private, no-cache"


def test_long_text_is_compressed(client: TestClient) -> None:
    """A page and a script arrive as gzip; a short answer does not."""
    for url in ("/", "/static/chart.js", "/api/boxes/drawer/history"):
        assert client.get(url).headers["content-encoding"] == "gzip"
    assert "content-encoding" not in client.get("/healthz").headers


@pytest.mark.parametrize("url", ["/", "/boxes/drawer", "/healthz", "/static/live.js"])
def test_head_answers_as_get_without_a_body(client: TestClient, url: str) -> None:
    """Same status and type, nothing in it."""
    head, get = client.head(url), client.get(url)
    assert head.status_code == get.status_code == 200
    assert head.headers["content-type"] == get.headers["content-type"]
    assert head.content == b""


def test_health_is_well(client: TestClient) -> None:
    """Whoever watches over Hilum gets a short yes."""
    assert client.get("/healthz").json() == {"status": "ok"}


def test_files_outside_the_static_folder_are_out_of_reach(client: TestClient) -> None:
    """A path that climbs finds nothing."""
    for url in ("/static/../templates/base.html", "/static/%2e%2e/templates/base.html"):
        assert client.get(url).status_code == 404
