"""A box that is used no longer leaves the lists."""

from hilum.keeping.care.boxarchive import archive_box
from hilum.web.deeds.doing import Deed, Problem, filled, target
from hilum.web.deeds.formparts import AT
from hilum.web.deeds.typed import Typed
from hilum.web.guard.csrf import Form
from hilum.web.parts import WebParts
from hilum.web.views.contexts import FormPage
from hilum.web.views.pieces import FormView, Link


def archive_deed(parts: WebParts) -> Deed:
    """Give the deed that archives a box."""

    def page(key: str, form: Form, problem: Problem | None) -> FormPage:
        box = parts.store.box(key)
        view = FormView(f"/boxes/{key}/archive", "Archive it", (), (AT,))
        intro = (
            "It leaves the lists; its history is kept, and this can be taken back.",
            "Move its lots first. A sensor that stands in it is taken away.",
        )
        back = Link(box.name, f"/boxes/{key}")
        return FormPage(f"Archive {box.name}", back, filled(view, form, problem), intro)

    def act(key: str, typed: Typed) -> str:
        now_ms = parts.clock.now_ms()
        done = archive_box(parts.store, key, at_ms=typed.moment("at", now_ms), now_ms=now_ms)
        return target("/journal", [done.event], box=key)

    return Deed("/boxes/{key}/archive", page, act)
