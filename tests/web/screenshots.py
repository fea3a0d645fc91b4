"""Photographs every page at both widths and in both schemes.

Run in ``tests`` as ``python -m web.screenshots FOLDER [ADDRESS]``. Without the address of a running
Hilum the small world of the page tests is photographed. With ``--documents`` before the folder the
pictures of the documents are taken, of a demo that has loaded its fourteen months.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hilum.web.app import create_app
from hilum.web.live import LiveHub
from hilum.web.parts import IngestStatus, WebParts, WebSettings
from web.browser import SCHEMES, WIDTHS, chromium, chromium_path
from web.server import running
from web.small_world import FixedClock, small_world

PAGES = {
    "boxes": "/",
    "box": "/boxes/drawer",
    "box-year": "/boxes/drawer?range=year",
    "lots": "/lots",
    "lot": "/lots/L-0001",
    "lot-new": "/lots/new",
    "lot-test": "/lots/L-0001/test",
    "lot-compare": "/lots/L-0001/compare",
    "lots-move": "/lots/move?lot=L-0002&lot=L-0003",
    "use-first": "/lots?order=use-first",
    "box-edit": "/boxes/drawer/edit",
    "box-swap": "/boxes/drawer/swap",
    "box-compare": "/boxes/drawer/compare",
    "box-review": "/boxes/drawer/review",
    "claim": "/sensors/claim?sensor=lane/spare",
    "seasons": "/season",
    "season-new": "/season/new",
    "settings": "/settings",
    "journal": "/journal",
    "sensors": "/sensors",
    "sure": "/sure",
    "missing": "/nowhere",
}


DOCUMENTS = {
    "boxes": ("/", "body"),
    "box-history": ("/boxes/tub?range=all", ".history .chart"),
    "box-calendar": ("/boxes/tub", ".calendar"),
    "lot-life": ("/lots/SL-001", "section[aria-labelledby=life-title] .chart"),
    "season": ("/season/1", ""),
    "compare": ("/lots/SL-012/compare", ".multiples"),
}
"""Pages of the demo for the documents, and the part of each; empty: what is seen at first."""


@contextmanager
def small_place() -> Iterator[str]:
    """Serve the small world."""
    hub = LiveHub()
    status = IngestStatus(connected=True, broker="127.0.0.1:1883", received=31_204, stored=30_998)
    parts = WebParts(
        store=small_world(),
        clock=FixedClock(),
        live=hub,
        ingest_status=lambda: status,
        settings=WebSettings(site="saltmarsh-lane", time_zone="Europe/Brussels"),
    )
    with running(create_app(parts), hub) as address:
        yield address


def photograph(folder: Path, address: str, pages: dict[str, str]) -> None:
    """Write one picture a page, width and scheme."""
    path = chromium_path()
    if path is None:
        sys.exit("Chromium is not installed.")
    folder.mkdir(parents=True, exist_ok=True)
    with chromium(path) as browser:
        for scheme in SCHEMES:
            for name, width in WIDTHS.items():
                context = browser.new_context(
                    viewport={"width": width, "height": 860}, color_scheme=scheme
                )
                tab = context.new_page()
                tab.on("console", lambda message: print(message.type, message.text))
                for page, url in pages.items():
                    tab.goto(address + url)
                    tab.wait_for_timeout(500)
                    tab.screenshot(path=folder / f"{page}-{name}-{scheme}.png", full_page=True)
                context.close()


def illustrate(folder: Path, address: str) -> None:
    """Write the pictures of the documents."""
    path = chromium_path()
    if path is None:
        sys.exit("Chromium is not installed.")
    with chromium(path) as browser:
        tab = browser.new_page(viewport={"width": 1060, "height": 720}, color_scheme="light")
        for name, (url, part) in DOCUMENTS.items():
            tab.goto(address + url)
            tab.wait_for_timeout(1000)
            shown = tab.locator(part).first if part else tab  # the whole, or what is seen at first
            shown.screenshot(path=folder / f"{name}.png")


def main() -> None:
    """Photograph what the arguments ask for."""
    if sys.argv[1] == "--documents":
        illustrate(Path(sys.argv[2]), sys.argv[3].rstrip("/"))
        return
    folder = Path(sys.argv[1])
    if len(sys.argv) > 2:
        photograph(folder, sys.argv[2].rstrip("/"), PAGES)
        return
    with small_place() as address:
        photograph(folder, address, PAGES)


if __name__ == "__main__":
    main()
