"""What can be done on the pages, from form to store, and what is refused beside its field."""

from datetime import date

import pytest
from starlette.testclient import TestClient

from hilum.domain.model import Box, BoxType, Event, EventType, Reading, Role, Wrap
from hilum.web.parts import WebParts
from web.elements import Element, parse
from web.sending import filled_in, form_on, send
from web.small_world import NOW_MS

MINUTE_MS = 60_000


def wrong(page: Element, field: str) -> str:
    """Give what stands beside a field as its fault; the field must point to it."""
    asked = [e for e in page.walk() if e.attrs.get("aria-describedby") == f"{field}-about"]
    assert [e.attrs.get("aria-invalid") for e in asked] == ["true"]
    return page.one(id=f"{field}-about").one(of="wrong").text


def said(page: Element) -> str:
    """Give what the page says was just done."""
    return page.one(of="said").text


def test_a_box_is_added_and_shown(parts: WebParts, client: TestClient) -> None:
    """Name and type are enough; the page of the box says that it was added."""
    page = send(client, "/boxes/new", name="Küche, blau", type="jar")
    assert page.one("h1").text == "Küche, blau"
    assert said(page) == "Setting: Added. Take it back"
    box = parts.store.box("kuche-blau")
    assert (box.type, box.target_low_pct, box.target_high_pct) == (BoxType.JAR, 15.0, 35.0)


@pytest.mark.parametrize(
    ("name", "words"),
    [("", "A box needs a name."), ("gasketed TUB", "There is a box called Gasketed tub already.")],
)
def test_a_box_needs_a_name_of_its_own(client: TestClient, name: str, words: str) -> None:
    """The fault stands beside the name, and the type that was chosen is still chosen."""
    page = send(client, "/boxes/new", 422, name=name, type="freezer")
    assert wrong(page, "name") == words
    assert filled_in(page.one("form", method="post"))["type"] == ["freezer"]


def test_two_boxes_of_like_names_get_two_addresses(parts: WebParts, client: TestClient) -> None:
    """Names no Latin letter can write share a word; names that differ in signs a number."""
    for name in ("Drawer!", "drawer?", "種子", "New"):
        send(client, "/boxes/new", name=name)
    slugs = {b.name: b.slug for b in parts.store.boxes()}
    assert [slugs[n] for n in ("Drawer!", "drawer?", "種子", "New")] == [
        "drawer-2",
        "drawer-3",
        "box",
        "box-new",
    ]


def test_a_box_is_corrected(parts: WebParts, client: TestClient) -> None:
    """What is changed is kept and journaled; commas are decimal points; nothing else changes."""
    page = send(client, "/boxes/tub/edit", target_high_pct="27,5", note="By the door.")
    assert said(page) == "Setting: Corrected: upper end of the target, note. Take it back"
    box = parts.store.box("tub")
    assert (box.target_high_pct, box.note, box.volume_l) == (27.5, "By the door.", 24.0)
    again = send(client, "/boxes/tub/edit")
    assert not again.all(of="said")  # nothing differed


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("target_high_pct", "10", "The target must rise, within 0 to 100 % eRH."),
        ("target_low_pct", "dry", "“dry” is not a number."),
        ("target_low_pct", "", "The target needs both ends."),
        ("gap_hours", "0", "Choose from a quarter of an hour to a month."),
        ("volume_l", "-2", "A volume must be above zero."),
        ("volume_l", "1.000", "“1.000” can be read in two ways: write 1000 or 1.00."),
    ],
)
def test_what_no_box_can_have_is_refused(
    parts: WebParts, client: TestClient, field: str, value: str, words: str
) -> None:
    """The fault stands beside its field, which keeps what was typed, and so do all others."""
    before = parts.store.box("tub")
    page = send(client, "/boxes/tub/edit", 422, **{field: value, "note": "typed with care"})
    assert wrong(page, field) == words
    kept = filled_in(page.one("form", method="post"))
    assert kept[field] == [value]
    assert kept["note"] == ["typed with care"]
    assert parts.store.box("tub") == before


def test_an_opening_is_one_tap_and_can_be_taken_back(parts: WebParts, client: TestClient) -> None:
    """The button on the page of the box notes it now; the line that is taken back is struck."""
    page = send(client, "/boxes/drawer", action="/boxes/drawer/opened")
    assert said(page).startswith("Opened.")
    newest = parts.store.events(box="drawer")[0]
    assert (newest.type, newest.time_ms, newest.box) == (EventType.OPENED, NOW_MS, "drawer")
    form = page.one("form", action="/strike")
    after = client.post("/strike", data=filled_in(form))
    assert said(parse(after.text)).startswith("Taken back: Opened")
    assert not parse(after.text).all("form", action="/strike")
    assert parts.store.events(box="drawer")[0].struck


def test_fresh_desiccant_is_offered_as_it_was_last_time(
    parts: WebParts, client: TestClient
) -> None:
    """Kind and grams of the last swap stand there already, so that two taps note the next."""
    send(client, "/boxes/tub/swap", grams="150", desiccant="clay", text="from the oven")
    form = form_on(client, "/boxes/tub/swap", "/boxes/tub/swap")
    assert filled_in(form)["grams"] == ["150"]
    assert filled_in(form)["desiccant"] == ["clay"]
    event = parts.store.events(box="tub")[0]
    assert dict(event.data) == {"desiccant": "clay", "grams": 150.0}
    assert event.text == "150 g of bentonite clay. from the oven"


def test_what_desiccant_held_and_when_it_was_dried_is_kept(
    parts: WebParts, client: TestClient
) -> None:
    """Both may stay empty; what cannot be is refused beside its field, and nothing is lost."""
    send(client, "/boxes/tub/swap", grams="150", load_pct="8,5", dried="2025-11-01")
    event = parts.store.events(box="tub")[0]
    data = dict(event.data)
    assert data["initial_load_pct"] == 8.5
    dried = data["regenerated_ms"]
    assert isinstance(dried, (int, float))
    assert parts.style.day(int(dried)) == "2025-11-01"
    assert event.text == "150 g of silica gel. It held 8.5 g of water per 100 g."
    for field, typed, words in (
        ("load_pct", "-1", "hold from 0 to about"),
        ("load_pct", "60", "hold from 0 to about"),
        ("load_pct", "wet", "is not a number"),
        ("dried", "2025-12-24", "That is after it went in."),
        ("dried", "soon", "no date"),
    ):
        page = send(client, "/boxes/tub/swap", 422, grams="140", **{field: typed})
        assert words in wrong(page, field)
        kept = filled_in(page.one(of="fill"))
        assert (kept["grams"], kept[field]) == (["140"], [typed])
    assert parts.store.events(box="tub")[0] == event


@pytest.mark.parametrize("grams", ["", "0", "-3", "much", "1e9", "nan"])
def test_desiccant_without_a_weight_is_refused(
    parts: WebParts, client: TestClient, grams: str
) -> None:
    """Nothing is noted and the words say what is missing."""
    before = parts.store.events(box="tub")
    page = send(client, "/boxes/tub/swap", 422, grams=grams)
    assert wrong(page, "grams")
    assert parts.store.events(box="tub") == before


def test_a_weighing_is_noted_beside_the_dry_weight(parts: WebParts, client: TestClient) -> None:
    """Both weights are kept; a weight no desiccant can reach is a slip."""
    send(client, "/boxes/tub/weighed", grams="231", dry_grams="200")
    assert dict(parts.store.events(box="tub")[0].data) == {"grams": 231.0, "dry_grams": 200.0}
    page = send(client, "/boxes/tub/weighed", 422, grams="2310", dry_grams="200")
    assert wrong(page, "grams") == "200 g of desiccant cannot have become 2310 g."


def test_a_time_is_read_in_the_zone_of_the_place(parts: WebParts, client: TestClient) -> None:
    """In Brussels 09:00 in winter is 08:00 UTC; the future is refused."""
    send(client, "/boxes/tub/opened", at="2025-11-25T09:00")
    assert parts.store.events(box="tub")[0].time_ms == NOW_MS - 72 * MINUTE_MS
    page = send(client, "/boxes/tub/note", 422, text="x", at="2025-11-25T10:13")
    assert "lies in the future" in wrong(page, "at")
    assert "open" in page.one("details").attrs
    assert wrong(send(client, "/boxes/tub/opened", 422, at="noon"), "at").startswith("“noon” is no")


def test_a_sensor_is_claimed_with_its_last_reading(parts: WebParts, client: TestClient) -> None:
    """The page shows what it said last; its readings count from the time that was chosen."""
    url = "/sensors/claim?sensor=lane/spare"
    page = parse(client.get(url).text)
    assert "Last reading 20.2 °C, 49 % RH" in page.one("dl").text
    after = send(client, url, box="shoebox", role="inside", since="first")
    assert after.one("h1").text == "Shoebox of flowers"
    (placed,) = parts.store.placements(box="shoebox")
    extent = parts.store.extent("lane/spare")
    assert extent is not None
    assert (placed.sensor, placed.role, placed.from_ms) == ("lane/spare", Role.INSIDE, extent[1])


def test_a_second_inside_sensor_is_a_contradiction_in_words(client: TestClient) -> None:
    """The sentence stands over the form; the choice of the box is kept."""
    url = "/sensors/claim?sensor=lane/spare"
    page = send(client, url, 422, box="tub", role="inside")
    assert "already has an inside sensor" in page.one(role="alert").text
    assert filled_in(page.one("form", method="post"))["box"] == ["tub"]
    assert wrong(send(client, url, 422, box=""), "box") == "Choose the box."


def test_a_placement_is_ended_once(parts: WebParts, client: TestClient) -> None:
    """The sensor is free again from now on, and what it measured stays."""
    (placed,) = parts.store.placements(box="tub")
    url = f"/sensors/end?placement={placed.id}"
    page = send(client, url)
    assert said(page) == "Setting: Sensor lane/b2 taken away. Take it back"
    assert parts.store.placements(box="tub")[0].to_ms == NOW_MS
    assert "no longer" in send(client, url, 422).one(role="alert").text
    form = form_on(client, "/sensors/claim?sensor=lane/b2", "/sensors/claim")
    assert filled_in(form)["since"] == ["first"]  # free since now: nothing of the tub is taken


def test_a_lot_is_entered_with_what_stands_on_its_packet(
    parts: WebParts, client: TestClient
) -> None:
    """The kind is looked up, the figure is there at once, and the lot lies in its box."""
    page = send(
        client, "/lots/new", kind="letuce", variety="Marsh Frill", label_pct="94",
        label_date="2025-03-01", year="2024", box="tub", wrap="poly", seeds="1 200",
    )  # fmt: skip
    assert page.one("h1").text == "Lettuce Marsh Frill"
    assert "“letuce” read as Lettuce" in said(page)
    assert page.one(of="headline").text.startswith("About ")
    lot = parts.store.lot("L-0006")
    assert (lot.kind, lot.label_pct, lot.label_date) == ("lettuce", 94.0, date(2025, 3, 1))
    assert lot.seeds == 1200
    (stay,) = parts.store.stays(lot="L-0006")
    assert (stay.box, stay.wrap, stay.from_ms) == ("tub", Wrap.POLY, NOW_MS)


def test_a_name_that_fits_many_kinds_offers_them(parts: WebParts, client: TestClient) -> None:
    """Nothing typed is lost; choosing one and sending again enters the lot."""
    page = send(client, "/lots/new", 422, kind="bean", variety="Blue Post", source="own")
    assert wrong(page, "kind") == "“bean” fits more than one kind of seed."
    picks = [e.attrs["value"] for e in page.all("input", name="meant")]
    assert {"Runner bean", "Broad bean"} <= set(picks)
    form = filled_in(page.one("form", method="post"))
    assert (form["kind"], form["variety"], form["source"]) == (["bean"], ["Blue Post"], ["own"])
    answer = client.post("/lots/new", data={**form, "meant": "Runner bean"})
    assert parse(answer.text).one("h1").text == "Runner bean Blue Post"
    assert parts.store.lots()[-1].kind == "runner-bean"


def test_an_unknown_name_offers_the_nearest(client: TestClient) -> None:
    """Or none, where nothing is near."""
    page = send(client, "/lots/new", 422, kind="marsh onion")
    assert "Onion" in [e.attrs["value"] for e in page.all("input", name="meant")]
    lost = send(client, "/lots/new", 422, kind="qwertz")
    assert wrong(lost, "kind") == "No kind of seed is known as “qwertz”."
    assert not lost.all("input", name="meant")


def test_the_next_lot_keeps_box_wrap_source_and_year(client: TestClient) -> None:
    """A handful of packets from one shelf is entered without saying so each time."""
    page = send(
        client, "/lots/new", kind="leek", box="jar", wrap="foil", source="swap", year="2023",
        variety="Grey Post", again="1",
    )  # fmt: skip
    assert page.one("h1").text == "Add a lot"
    assert "Added: Leek" in said(page)
    form = filled_in(page.one("form", action="/lots/new"))
    assert [form[n][0] for n in ("box", "wrap", "source", "year")] == [
        "jar",
        "foil",
        "swap",
        "2023",
    ]
    assert form["variety"] == [""]
    assert form["kind"] == [""]


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("kind", "", "Say what kind of seed it is."),
        ("label_pct", "120", "It must lie between 0 and 100 %."),
        ("label_date", "2031-01-01", "2031-01-01 lies in the future."),
        ("label_date", "spring", "“spring” is no date; write it like 2026-03-01."),
        ("year", "1850", "1850 cannot be the year of harvest or packing."),
        ("year", "last", "“last” is not a whole number."),
        ("seeds", "-4", "It cannot be less than nothing."),
        ("label_n", "0", "A test needs at least one seed."),
        ("prior_temp_c", "900", "No seed is kept at that temperature."),
        ("code", "L-0001", "There is a lot L-0001 already."),
        ("code", "x" * 41, "A code has signs that can be printed, 40 at most"),
        ("at", "2031-01-01T00:00", "2031-01-01 00:00 lies in the future."),
    ],
)
def test_what_no_lot_can_have_is_refused(
    parts: WebParts, client: TestClient, field: str, value: str, words: str
) -> None:
    """Each fault stands beside its field, and everything typed is still there."""
    typed = {"kind": "onion", "variety": "Long <Keeper>", field: value}
    page = send(client, "/lots/new", 422, **typed)
    assert wrong(page, field).startswith(words)
    kept = filled_in(page.one("form", method="post"))
    assert {name: kept[name][0] for name in typed} == typed
    assert len(parts.store.lots()) == 5


def test_a_lot_is_corrected_and_the_correction_taken_back(
    parts: WebParts, client: TestClient
) -> None:
    """Its form shows what is kept; undo brings it back."""
    before = parts.store.lot("L-0002")
    page = send(client, "/lots/L-0002/edit", kind="spinach", label_pct="88.5")
    assert page.one("h1").text == "Spinach Grey Wing"
    assert parts.store.lot("L-0002").label_pct == 88.5
    client.post("/strike", data=filled_in(page.one("form", action="/strike")))
    assert parts.store.lot("L-0002") == before


def test_several_lots_are_moved_and_moved_back(parts: WebParts, client: TestClient) -> None:
    """Those that are ticked move in one step, and one tap takes the whole move back."""
    page = send(
        client, "/lots/move?lot=L-0002&lot=L-0003", lot=["L-0002", "L-0003"], to="jar", wrap="foil"
    )
    assert page.one("h1").text == "Jar in the fridge"
    assert "Moved (lot L-0002): Moved from Gasketed tub." in said(page)
    assert {s.lot for s in parts.store.stays(box="jar") if s.to_ms is None} == {
        "L-0002",
        "L-0003",
        "L-0004",
    }
    client.post("/strike", data=filled_in(page.one("form", action="/strike")))
    assert {s.lot for s in parts.store.stays(box="tub") if s.to_ms is None} == {"L-0002", "L-0003"}


def test_a_move_that_cannot_be_says_why(parts: WebParts, client: TestClient) -> None:
    """All or none: one lot that is there already stops the move of both."""
    before = parts.store.stays()
    url = "/lots/move?lot=L-0001&lot=L-0002"
    page = send(client, url, 422, to="tub")
    assert page.one(role="alert").text == "Lot L-0002 is in Gasketed tub already."
    assert filled_in(page.one("form", method="post"))["lot"] == ["", "L-0001", "L-0002"]
    assert wrong(send(client, url, 422, to=""), "to") == "Choose where they go."
    assert parts.store.stays() == before


def test_a_lot_is_taken_out_of_its_box(parts: WebParts, client: TestClient) -> None:
    """From then on it is nowhere."""
    page = send(client, "/lots/move?lot=L-0002", to="-")
    assert "Taken out" in said(page)
    assert parts.store.stays(lot="L-0002")[-1].to_ms == NOW_MS


def test_seed_is_used_and_put_back(parts: WebParts, client: TestClient) -> None:
    """Weight goes down with the count, and comes back."""
    page = send(client, "/lots/L-0003/use", seeds="100")
    assert said(page).startswith("Note (lot L-0003): Used 100 seeds.")
    assert (parts.store.lot("L-0003").seeds, parts.store.lot("L-0003").grams) == (300.0, 1.2)
    client.post("/strike", data=filled_in(page.one("form", action="/strike")))
    assert parts.store.lot("L-0003").seeds == 400
    assert "holds 400" in wrong(send(client, "/lots/L-0003/use", 422, seeds="500"), "seeds")


def test_a_lot_is_split(parts: WebParts, client: TestClient) -> None:
    """The new lot has the past of the old one and goes into its own box."""
    page = send(client, "/lots/L-0001/split", seeds="150", box="jar", wrap="jar")
    assert page.one("h1").text == "Onion Marsh Amber"
    assert parts.store.lot("L-0006").seeds == 150
    assert [s.box for s in parts.store.stays(lot="L-0006")] == ["drawer", "jar"]
    assert page.all("form", action="/strike")  # a split can be taken back


def test_a_lot_is_archived_and_fetched_back(parts: WebParts, client: TestClient) -> None:
    """It leaves the lists; its page says so; undo brings it back."""
    page = send(client, "/lots/L-0005/archive")
    assert "This lot is archived" in page.one("main").text
    assert not page.all("a", href="/lots/L-0005/use")
    assert "L-0005" not in client.get("/lots").text
    client.post("/strike", data=filled_in(page.one("form", action="/strike")))
    assert not parts.store.lot("L-0005").archived


def test_a_germination_test_is_noted(parts: WebParts, client: TestClient) -> None:
    """It counts at once, its replicates must add up, and today is offered as its day."""
    url = "/lots/L-0001/test"
    assert filled_in(form_on(client, url, url))["on"] == ["2025-11-25"]
    before = parse(client.get("/lots/L-0001").text).one(of="headline").text
    page = send(client, url, sown="100", germinated="60", replicates="28, 32", method="paper")
    assert page.one(of="headline").text != before
    assert parts.store.tests("L-0001")[-1].replicates == (28, 32)
    for typed, field, words in (
        ({"sown": ""}, "sown", "Say how many seeds were sown."),
        ({"sown": "50", "germinated": "51"}, "germinated", "Of 50 seeds sown, 51 cannot"),
        ({"sown": "50", "replicates": "x"}, "replicates", "Write whole numbers"),
        ({"sown": "50", "germinated": "9", "replicates": "5 5"}, "replicates", "The replicates"),
        ({"sown": "50", "germinated": "9", "on": "2030-01-01"}, "on", "2030-01-01 lies in"),
    ):
        assert wrong(send(client, url, 422, **typed), field).startswith(words)
    assert len(parts.store.tests("L-0001")) == 2


def test_notes_are_written_about_boxes_lots_and_neither(
    parts: WebParts, client: TestClient
) -> None:
    """Each stands where it belongs, as it was written."""
    for url, title in (
        ("/boxes/jar/note", "Jar in the fridge"),
        ("/lots/L-0004/note", "Tomato Ember"),
        ("/journal/note", "Journal"),
    ):
        page = send(client, url, text="Smells <b>musty</b>\nlook again")
        assert page.one("h1").text == title
        assert "Smells <b>musty</b> look again" in page.one("main").text
        assert wrong(send(client, url, 422, text="  "), "text") == "Write what is to be noted."
    newest = parts.store.events()[:3]
    assert {(e.box, e.lot) for e in newest} == {("jar", None), (None, "L-0004"), (None, None)}
    assert (
        "“L-9” " in send(client, "/journal/note", 422, text="x", lot="L-9").one(role="alert").text
    )


def test_the_journal_can_be_narrowed(client: TestClient) -> None:
    """By box, by lot and by what was done; the choice is shown."""
    url = "/journal?box=tub&type=swap"
    page = parse(client.get(url).text)
    assert [line.one("strong").text for line in page.one(of="day").all("li")] == ["Fresh desiccant"]
    assert page.one("select", name="box").one("option", selected="").attrs["value"] == "tub"
    assert "Nothing of that" in client.get("/journal?box=tub&type=weighed").text
    assert len(parse(client.get("/journal?lot=L-0001").text).all(of="day")) == 1


def test_a_line_is_struck_and_kept(client: TestClient) -> None:
    """The journal leads to a page that asks; afterwards the line stands struck through."""
    page = parse(client.get("/journal?box=tub").text)
    link = page.one("a", of="take-back").attrs["href"]
    asking = parse(client.get(link).text)
    assert "200 g of gel" in asking.one("dl").text
    answer = client.post("/strike", data=filled_in(asking.one("form", method="post")))
    assert answer.url.path == "/journal"
    assert parse(answer.text).one("li", of="struck").text
    assert answer.url.params["box"] == "tub"


def test_what_hangs_together_cannot_be_struck(parts: WebParts, client: TestClient) -> None:
    """An alert's line or a line that is not there is left alone, in words."""
    event = parts.store.add_event(Event(0, NOW_MS, EventType.ALERT, "tub", text="Damp."))
    page = send(client, f"/strike?did={event.id}", 422)
    assert "cannot be taken back here" in page.one(role="alert").text
    gone = send(client, "/strike?did=99999", 422)
    assert "has no such line" in gone.one(role="alert").text


@pytest.mark.parametrize(
    "back", ["//elsewhere.example", "https://elsewhere.example/", "/\\elsewhere.example", "x"]
)
def test_taking_back_never_leads_away(parts: WebParts, client: TestClient, back: str) -> None:
    """Only an address of our own is gone to afterwards."""
    event = parts.store.add_event(Event(0, NOW_MS, EventType.NOTE, text="x"))
    form = filled_in(form_on(client, f"/strike?did={event.id}&back={back}", "/strike"))
    answer = client.post("/strike", data=form, follow_redirects=False)
    assert answer.headers["location"].startswith("/journal?")


def test_words_of_an_address_are_never_shown(client: TestClient) -> None:
    """What was done is read in the journal; an address can only name its line."""
    for did in ("hello", "1-", "9999", "-1", "1;2", "٣"):
        assert not parse(client.get(f"/boxes/tub?did={did}").text).all(of="said")


def test_after_a_change_the_keeping_is_told(parts: WebParts, client: TestClient) -> None:
    """What follows from a change is worked out at once; a refusal changes nothing."""
    told: list[str] = []
    object.__setattr__(parts, "changed", lambda: told.append("x"))
    send(client, "/boxes/tub/opened")
    assert told == ["x"]
    send(client, "/boxes/new", 422, name="")
    assert told == ["x"]


def test_an_archived_box_takes_nothing(parts: WebParts, client: TestClient) -> None:
    """It is not offered, and named all the same it is refused."""
    parts.store.save_box(Box("shoebox", "Shoebox of flowers", BoxType.CARDBOARD, archived=True))
    page = send(client, "/lots/new", 422, kind="onion", box="shoebox")
    assert "is archived" in page.one(role="alert").text
    parts.store.add([Reading("lane/new", NOW_MS, 20.0, 50.0)], NOW_MS)
    claim = send(client, "/sensors/claim?sensor=lane/new", 422, box="shoebox")
    assert "is archived" in claim.one(role="alert").text
