"""What the packet says of the seed, from the form to the page of the lot."""

from starlette.testclient import TestClient

from hilum.science.kinds import PRIMED_SEED, TREATED_SEED
from hilum.web.parts import WebParts
from web.elements import parse
from web.sending import filled_in, form_on, send


def test_it_is_ticked_shown_and_unticked(parts: WebParts, client: TestClient) -> None:
    """Cautions stand above the figure; what was unticked stays so where another field is wrong."""
    ticked = ["treated", "primed"]
    page = send(client, "/lots/new", kind="lettuce", label_pct="95", code="S1", prepared=ticked)
    page = parse(client.get("/lots/S1").text)
    assert parts.store.lot("S1").prepared == ("treated", "primed")
    assert "treated, primed" in page.one(of="label").text
    cautions = [each.text for each in page.all(of="finding")]
    assert cautions == [TREATED_SEED.value, PRIMED_SEED.value]
    form = form_on(client, "/lots/S1/edit", "/lots/S1/edit")
    assert filled_in(form)["prepared"] == ["", *ticked]
    page = send(client, "/lots/S1/edit", 422, prepared="", seeds="many")
    assert filled_in(page.one("form", method="post"))["prepared"] == [""]
    send(client, "/lots/S1/edit", prepared="treated")
    assert parts.store.lot("S1").prepared == ("treated",)
