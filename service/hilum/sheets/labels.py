"""Labels for packets and boxes: a sheet of paper as one HTML page, with a QR code on each label.

The code holds the address of the page of the lot (or box), so that a phone's camera opens it.
"""

import html
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from urllib.parse import quote

import segno

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import Box, Lot
from hilum.domain.ports import KeepingStore
from hilum.keeping.care.register import in_address
from hilum.science.kinds import kinds

MOST_LABELS = 5_000
LEAST_QR_MM = 12.0  # smaller codes are hard to read for a phone; common practice, no source


class Paper(StrEnum):
    """Sizes of paper."""

    A4 = "a4"
    LETTER = "letter"


_SIZES = {Paper.A4: (210.0, 297.0), Paper.LETTER: (215.9, 279.4)}  # mm; ISO 216, ANSI Y14.1


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """How labels lie on a sheet, in mm; whole labels in rows from the upper left corner."""

    paper: Paper = Paper.A4
    width_mm: float = 62.0
    height_mm: float = 32.0
    margin_mm: float = 10.0
    gap_mm: float = 2.0

    @property
    def columns(self) -> int:
        """Labels side by side."""
        return _fitting(_SIZES[self.paper][0], self.width_mm, self)

    @property
    def rows(self) -> int:
        """Labels one below the other."""
        return _fitting(_SIZES[self.paper][1], self.height_mm, self)


def _fitting(length_mm: float, label_mm: float, layout: SheetLayout) -> int:
    free = length_mm - 2 * layout.margin_mm + layout.gap_mm
    return int(free / (label_mm + layout.gap_mm) + 1e-9)


@dataclass(frozen=True, slots=True)
class Label:
    """What stands on one label; without an address it has no QR code."""

    title: str
    lines: tuple[str, ...]
    code: str
    address: str


def lot_labels(store: KeepingStore, codes: Sequence[str], site: str) -> list[Label]:
    """Labels for packets: common name, variety, source and year, newest germination, code.

    Parameters
    ----------
    store : KeepingStore
        Where lots are kept.
    codes : sequence of str
        Codes of the lots; empty: all that are not archived.
    site : str
        Address of this Hilum, ``http://…``; empty: nobody said it, and labels get no QR code.

    Raises
    ------
    NotFoundError
        There is no such lot.
    """
    lots = [store.lot(code) for code in codes]
    lots = lots or [lot for lot in store.lots() if not lot.archived]
    return [_lot_label(store, lot, site) for lot in lots]


def _lot_label(store: KeepingStore, lot: Lot, site: str) -> Label:
    known = kinds().get(lot.kind)
    year = "" if lot.year is None else str(lot.year)
    origin = " · ".join(part for part in (lot.source, year) if part)
    prepared = ", ".join(lot.prepared).capitalize()
    lines = (lot.variety, origin, _germination(store, lot), prepared)
    return Label(
        known.common if known else lot.kind,
        tuple(line for line in lines if line),
        lot.code,
        _address(site, f"lots/{in_address(lot.code)}"),
    )


def _germination(store: KeepingStore, lot: Lot) -> str:
    """Write the newest test, else what the packet says."""
    tests = store.tests(lot.code)
    if tests and (lot.label_date is None or tests[-1].on >= lot.label_date):
        test = tests[-1]
        share = f"{100 * test.germinated / test.sown:.0f} %"
        return f"{share} ({test.germinated} of {test.sown}), {_month(test.on)}"
    if lot.label_pct is None:
        return ""
    return f"{lot.label_pct:.0f} %" + (f", {_month(lot.label_date)}" if lot.label_date else "")


def _month(day: date) -> str:
    return f"{day:%Y-%m}"


def box_labels(store: KeepingStore, slugs: Sequence[str], site: str) -> list[Label]:
    """Labels for boxes; without slugs for all that are not archived."""
    boxes = [store.box(slug) for slug in slugs]
    boxes = boxes or [box for box in store.boxes() if not box.archived]
    return [_box_label(box, site) for box in boxes]


def _box_label(box: Box, site: str) -> Label:
    band = f"{box.target_low_pct:g} to {box.target_high_pct:g} % eRH"
    return Label(box.name, (band,), box.slug, _address(site, f"boxes/{quote(box.slug, safe='')}"))


def _address(site: str, path: str) -> str:
    return f"{site.rstrip('/')}/{path}" if site else ""


def label_sheet(labels: Sequence[Label], layout: SheetLayout | None = None) -> str:
    """Write labels as an HTML page to print at full size.

    Parameters
    ----------
    labels : sequence of Label
        In the order they are printed.
    layout : SheetLayout, optional
        Paper and size of the labels.

    Returns
    -------
    str
        A page that needs nothing else.

    Raises
    ------
    InvalidInputError
        There is nothing to print, too much, or the labels do not fit the paper.
    """
    layout = layout or SheetLayout()
    if not labels:
        raise InvalidInputError("There is nothing to print a label for.", "lots")
    if len(labels) > MOST_LABELS:
        raise InvalidInputError(
            f"{len(labels):,} labels are too many at once; at most {MOST_LABELS:,}.", "lots"
        )
    if not all(_is_length(value) for value in (layout.width_mm, layout.height_mm)) or not (
        layout.columns and layout.rows and layout.height_mm >= LEAST_QR_MM + 4
    ):
        raise InvalidInputError(
            f"Labels of {layout.width_mm:g} × {layout.height_mm:g} mm do not fit on the paper, or "
            "are too small for a code that a phone can read.",
            "size",
        )
    each = layout.columns * layout.rows
    pages = [labels[start : start + each] for start in range(0, len(labels), each)]
    body = "\n".join(_page(page) for page in pages)
    return _PAGE.format(style=_style(layout), body=body)


def _is_length(value: float) -> bool:
    return 10.0 <= value <= 300.0


def _page(labels: Sequence[Label]) -> str:
    return '<section class="page">\n' + "\n".join(_item(each) for each in labels) + "\n</section>"


def _item(label: Label) -> str:
    lines = "".join(f"<p>{html.escape(line)}</p>" for line in label.lines)
    return (
        f"<article>{qr_code(label.address)}<div><h2>{html.escape(label.title)}</h2>{lines}"
        f'<p class="code">{html.escape(label.code)}</p></div></article>'
    )


def qr_code(address: str) -> str:
    """Draw a QR code with its quiet zone, as SVG; nothing where there is no address."""
    if not address:
        return ""
    drawing = io.BytesIO()
    segno.make(address, error="m", micro=False).save(
        drawing, kind="svg", xmldecl=False, svgns=True, omitsize=True, border=4, nl=False
    )
    attributes = f'<svg role="img" aria-label="QR code: {html.escape(address)}"'
    return drawing.getvalue().decode("utf-8").replace("<svg", attributes, 1)


def _style(layout: SheetLayout) -> str:
    width, height = _SIZES[layout.paper]
    code_mm = min(layout.height_mm - 4.0, layout.width_mm * 0.4)
    return (
        f"@page{{size:{width:g}mm {height:g}mm;margin:0}}"
        "*{box-sizing:border-box;margin:0}"
        "body{font:8pt/1.25 sans-serif;color:#000;background:#fff}"
        f".page{{width:{width:g}mm;height:{height - 0.1:g}mm;padding:{layout.margin_mm:g}mm;"
        f"display:grid;grid-template-columns:repeat({layout.columns},{layout.width_mm:g}mm);"
        f"grid-auto-rows:{layout.height_mm:g}mm;gap:{layout.gap_mm:g}mm;break-after:page;"
        "align-content:start;overflow:hidden}"
        f"article{{display:flex;gap:1mm;align-items:center;overflow:hidden;padding:1mm;"
        f"width:{layout.width_mm:g}mm;height:{layout.height_mm:g}mm;border:0.2mm dotted #999}}"
        f"svg{{flex:none;width:{code_mm:.1f}mm;height:{code_mm:.1f}mm}}"
        "div{min-width:0;overflow:hidden}"
        "h2{font-size:10pt;line-height:1.15}p{overflow-wrap:anywhere}"
        ".code{font-family:monospace;font-weight:bold}"
    )


_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Labels</title>
<style>{style}</style></head>
<body>
{body}
</body></html>
"""
