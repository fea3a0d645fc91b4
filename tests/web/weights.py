"""Every page there is, and what a browser fetches when it comes to it for the first time."""

import re
from html import unescape

import httpx
from starlette.testclient import TestClient

from hilum.domain.ports import Store
from hilum.web.guard.rules import RULES

NO_PAGES = frozenset(
    {
        "/healthz",
        "/live",  # a stream
        "/sensors/heard",  # a part of a page
        "/shared/{key}",  # leads on to another page
        "/first-password",  # of one key only
        "/alerts/{key}/seen",
        "/sensors/uncorrect",  # of a correction
    }
)
"""Addresses to get that are no page, or one that is there only after something else."""

MORE = (
    "/boxes/{slug}?range=day",
    "/boxes/{slug}?range=month",
    "/boxes/{slug}?range=year",
    "/boxes/{slug}?range=all",
    "/lots?order=weakest",
    "/lots?order=use-first",
    "/journal?box={box}",
    "/journal?type=swap",
)

ASKED = {
    "/sensors/": "?sensor={sensor}&placement={placement}",
    "/strike": "?did={event}&back=/journal",
    "/rules/": "?rule=damp",
}
"""What a form must be told that stands under such an address."""

FILES = re.compile(r'(?:src|href)="(/static/[^"]+)"')
CHART = re.compile(r'data-chart data-url="([^"]+)" data-from="(\d+)" data-to="(\d+)"')
CHART_PIXELS = 1200


def addresses(store: Store, box: str, lot: str) -> list[str]:
    """Address of every page, about this box and lot and the first plan, where there is one."""
    plans, placed = store.season_plans(), store.placements(box=box)[0]
    keys = {
        "boxes": box,
        "box": box,
        "lots": lot,
        "season": str(plans[0].id) if plans else "",
        "sensor": placed.sensor,
        "placement": str(placed.id),
        "event": str(store.events(limit=1)[0].id),
    }
    paths = [rule.removeprefix("GET ") for rule in RULES if rule.startswith("GET ")]
    pages = [
        path
        for path in paths
        if path not in NO_PAGES
        and not path.startswith(
            ("/api/", "/lots/import/")
        )  # the latter are of a file that was sent
        and not re.search(r"/(order|export)\.", path)  # files
    ]
    found = []
    asked = (
        path + next((query for start, query in ASKED.items() if path.startswith(start)), "")
        for path in (*pages, *MORE)
    )
    for path in asked:
        own = {"key", "slug", "code"}
        first = keys.get(path.split("/")[1].partition("?")[0], "")
        names = re.findall(r"\{(\w+)\}", path)
        values = {name: first if name in own else keys[name] for name in names}
        if all(values.values()):
            found.append(path.format(**values))
    return sorted(found)


def first_visit(client: httpx.Client | TestClient, url: str) -> dict[str, int]:
    """Bytes that cross the network for a page, by address: the page, its files, its chart.

    Headers are left out; so is what comes live afterwards.
    """
    page, size = fetched(client, url)
    sizes = {url: size}
    for file in dict.fromkeys(FILES.findall(page)):
        sizes[file] = fetched(client, unescape(file))[1]
    for data, start, end in CHART.findall(page):
        chart = f"{data}?from={start}&to={end}&width={CHART_PIXELS}"
        sizes[chart] = fetched(client, chart)[1]
    return sizes


def fetched(client: httpx.Client | TestClient, url: str) -> tuple[str, int]:
    """Fetch an address packed with gzip; give the text and the bytes it took.

    A form that is asked for too little says so with 422, and is a page like others.
    """
    answer = client.get(url, headers={"Accept-Encoding": "gzip"})
    assert answer.status_code in {200, 422}, f"{url}: {answer.status_code} {answer.text[:300]}"
    return answer.text, answer.num_bytes_downloaded
