"""Words for how seed is packed and what it lies in."""

import re

from hilum.domain.model import BoxType, Wrap
from hilum.sheets.headings import plain

_WRAPS = {
    Wrap.FOIL: "foil|mylar|alu|aluminium|aluminum|laminate|folie|alufolie",
    Wrap.JAR: "jar|glass|vial|bottle|tube|glas|bocal|pot|flacon|rohrchen|potje|flesje|tin",
    Wrap.POLY: "poly|plastic|zip|ziploc|ziplock|polythene|polyethylene|plastik|plastique|baggie|"
    "kunststoff|zipper|druckverschlussbeutel|sealed bag",
    Wrap.PAPER: "paper|envelope|packet|coin envelope|papier|envelop|enveloppe|papiertute|zakje|"
    "original packet|sachet|tute|kraft|papieren|paper bag|seed packet",
    Wrap.OPEN: "open|cloth|tray|loose|basket|bowl|linen|cotton|offen|stoff|tissu|lose|los|vrac",
}
_BOXES = {
    BoxType.FREEZER: "freezer|gefriertruhe|gefrierschrank|congelateur|diepvries|vriezer|tiefkuhl",
    BoxType.FRIDGE: "fridge|refrigerator|kuhlschrank|frigo|refrigerateur|koelkast|cooler",
    BoxType.DRAWER: "drawer|schublade|tiroir|lade|cabinet|chest",
    BoxType.CARDBOARD: "shoebox|shoe box|cardboard|carton|schuhkarton|karton|schoenendoos|boite",
    BoxType.JAR: "jar|glass|glas|bocal|pot|tin|dose|bus",
    BoxType.SHELF: "shelf|regal|etagere|plank|rack|pantry|cellar|shed|keller|cave|kelder",
    BoxType.TUB: "tub|tupper|plastic box|tote|bin|bac|crate",
}


def wrap_of(text: str) -> Wrap | None:
    """Wrap that words speak of; ``None`` if they speak of none or of several."""
    found = [wrap for wrap, words in _WRAPS.items() if _has(text, words)]
    if found == [Wrap.POLY, Wrap.PAPER] and "envelope" not in plain(text):
        return Wrap.POLY  # a plastic packet
    if found[-1:] == [Wrap.PAPER] and len(found) == 2 and "paper" not in plain(text):
        return found[0]  # a foil packet
    return found[0] if len(found) == 1 else None


def box_type_of(name: str) -> BoxType | None:
    """Type of box a name speaks of; ``None`` if it says nothing of it."""
    return next((kind for kind, words in _BOXES.items() if _has(name, words)), None)


def _has(text: str, words: str) -> bool:
    return bool(re.search(rf"\b({words})(s|es)?\b", plain(text)))
