"""Fields that several forms share."""

from hilum.domain.model import Wrap
from hilum.web.parts import WebParts
from hilum.web.views.lots import WRAP_WORDS
from hilum.web.views.pieces import Field, Option

AT = Field("at", "When", "moment", hint="Just now, if you leave it empty.")
WORDS = Field("text", "In your words", "text", hint="May stay empty.")


def box_options(parts: WebParts, nowhere: str = "", *, but: str = "") -> tuple[Option, ...]:
    """Boxes to choose from; ``nowhere`` in words is offered first where it is given."""
    boxes = [b for b in parts.store.boxes() if not b.archived and b.slug != but]
    found = tuple(Option(box.slug, box.name) for box in boxes)
    return (Option("", nowhere), *found) if nowhere else found


def wrap_options(as_before: str = "") -> tuple[Option, ...]:
    """Ways to pack a lot; "as before" is offered first where its words are given."""
    found = tuple(Option(wrap.value, words) for wrap, words in WRAP_WORDS.items())
    return (Option("", as_before), *found) if as_before else found


def wrap_of(text: str) -> Wrap | None:
    """Give the wrap that was chosen; none for one that was not, or that there is not."""
    return next((wrap for wrap in Wrap if wrap.value == text), None)
