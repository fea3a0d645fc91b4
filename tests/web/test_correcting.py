"""A sensor is corrected on the pages, step by step, and nothing is written before the last one."""

import pytest
from starlette.testclient import TestClient

from hilum.domain.corrections import Correction
from hilum.domain.model import MS_PER_DAY
from hilum.web.parts import WebParts
from web.elements import Element, parse
from web.sending import filled_in, send
from web.small_world import NOW_MS
from web.test_deeds import said, wrong

SENSOR = "lane/b2"
START = f"/sensors/correct?sensor={SENSOR}"


def onward(client: TestClient, page: Element, status: int = 200, **typed: str) -> Element:
    """Fill in the form of the step that is shown, and send it."""
    form = page.one(of="fill")
    answer = client.post(form.attrs["action"], data={**filled_in(form), **typed})
    assert answer.status_code == status, answer.text
    return parse(answer.text)


def at_the_salts(client: TestClient, way: str = "two") -> Element:
    """Go through the steps up to what the sensor read, at 20 °C."""
    page = parse(client.get(START).text)
    return onward(client, onward(client, page, way=way), temp="20")


def test_two_salts_worked_on_the_pages(parts: WebParts, client: TestClient) -> None:
    """MgCl2 33.07 % and NaCl 75.47 % at 20 °C (Greenspan 1977, J. Res. NBS 81A:89).

    Read as 35.1 and 78.2: gain = 42.40 / 43.1 = 0.984, offset = 33.07 - 0.984 · 35.1 = -1.46; so 35
    is 33.0. It is shown before it is kept; after that the page of sensors says both values.
    """
    page = at_the_salts(client)
    assert "33.1 % ± 0.2 at 20.0 °C" in page.text
    assert "75.5 % ± 0.1 at 20.0 °C" in page.text
    assert "Greenspan 1977" in page.text
    assert "sodium chloride (table salt)" in page.text
    assert "damp slurry" in page.text
    assert "Wait 20 minutes for a small sensor" in page.text
    page = onward(
        client, page, read_low="35,1", read_high="78.2", at="2025-11-20T10:00", note="in the shed"
    )
    assert "humidity 0.984 × reading − 1.5 %" in page.text
    assert "35 → 33.0" in page.text
    assert "2025-11-20 10:00" in page.text
    assert "computed again" in page.text
    assert "damp slurry" not in page.text
    assert not parts.store.corrections()

    page = onward(client, page)
    assert said(page).startswith(f"Setting: Sensor {SENSOR} corrected from 2025-11-20 10:00 on")
    (kept,) = parts.store.corrections(SENSOR)
    assert kept.rh_gain == pytest.approx(42.40 / 43.1)
    assert kept.rh_offset_pct == pytest.approx(33.07 - 42.40 / 43.1 * 35.1)
    assert kept.how == (
        "read 35.1 % over MgCl2 (33.1 ± 0.2 %), read 78.2 % over NaCl (75.5 ± 0.1 %) at 20 °C; "
        "in the shed"
    )
    assert "computed again" in said(page)
    assert "Itself it says" in page.text


def test_one_salt_is_an_offset_there(parts: WebParts, client: TestClient) -> None:
    """77.0 over NaCl at 20 °C, where 75.47 is right (Greenspan 1977), takes 1.53 off."""
    page = onward(client, at_the_salts(client, "one"), read="77")
    assert "Right near 75 % only" in page.text
    onward(client, page)
    (kept,) = parts.store.corrections(SENSOR)
    assert kept.rh_gain == 1.0
    assert kept.rh_offset_pct == pytest.approx(-1.53)
    assert kept.from_ms == NOW_MS


def test_an_offset_of_temperature_leaves_humidity_as_it_was_corrected(
    parts: WebParts, client: TestClient
) -> None:
    """What is not given stays; that an earlier correction is replaced is said before saving."""
    first = Correction(0, SENSOR, NOW_MS - 5 * MS_PER_DAY, rh_gain=0.9, rh_offset_pct=2.0)
    parts.store.add_correction(first)
    page = onward(client, parse(client.get(START).text), way="offset")
    page = onward(client, page, temp_offset_c="-0.4")
    assert "takes the place of correction 1" in page.text
    onward(client, page)
    newest = parts.store.corrections(SENSOR)[-1]
    assert (newest.temp_offset_c, newest.rh_gain, newest.rh_offset_pct) == (-0.4, 0.9, 2.0)


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"salt_low": "NaBr", "salt_high": "K2CO3", "temp": "20"}, "salt_high", "at least 15 %"),
        ({"salt_low": "NaCl", "salt_high": "NaCl", "temp": "20"}, "salt_high", "differ by 0 %"),
        ({"salt_low": "sand", "temp": "20"}, "salt_low", "Choose one of these."),
        ({"temp": "4.9"}, "temp", "from 5.0 °C to 30.0 °C"),
        ({"temp": "30.1"}, "temp", "from 5.0 °C to 30.0 °C"),
        ({"temp": ""}, "temp", "how warm it is"),
        ({"temp": "warm"}, "temp", "“warm” is not a number."),
    ],
)
def test_salts_that_cannot_be_used(
    client: TestClient, typed: dict[str, str], field: str, words: str
) -> None:
    """The choice of salts is refused beside its field; what was typed stays."""
    page = onward(client, parse(client.get(START).text), way="two")
    page = onward(client, page, 422, **typed)
    assert words in wrong(page, field).replace("\N{NO-BREAK SPACE}", " ")
    assert filled_in(page.one(of="fill"))["temp"] == [typed["temp"]]


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"read_low": "", "read_high": "78"}, "read_low", "Say what it read."),
        ({"read_low": "35", "read_high": "100.1"}, "read_high", "between 0 and 100 %"),
        ({"read_low": "-1", "read_high": "78"}, "read_low", "between 0 and 100 %"),
        ({"read_low": "78", "read_high": "35"}, "read_high", "the salts were swapped"),
        ({"read_low": "33", "read_high": "93.7"}, "read_high", "the salts were swapped"),
        ({"read_low": "58", "read_high": "99"}, "read_high", "a sensor so far off is broken"),
        ({"read_low": "35", "read_high": "78", "at": "2026-01-01T00:00"}, "at", "in the future"),
        ({"read_low": "35", "read_high": "78", "at": "soon"}, "at", "no date and time"),
    ],
)
def test_readings_that_cannot_be(
    parts: WebParts, client: TestClient, typed: dict[str, str], field: str, words: str
) -> None:
    """Refused beside the field, with the note that was typed; nothing is kept."""
    page = onward(client, at_the_salts(client), 422, **typed, note="typed with care")
    assert words in wrong(page, field)
    kept = filled_in(page.one(of="fill"))
    assert kept["note"] == ["typed with care"]
    assert kept[field] == [typed[field]]
    assert not parts.store.corrections()


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({}, "rh_offset_pct", "Say what is to be added"),
        ({"rh_offset_pct": "20.1"}, "rh_offset_pct", "between -20 and 20 % RH"),
        ({"temp_offset_c": "-10.1"}, "temp_offset_c", "between -10 and 10 °C"),
        ({"rh_offset_pct": "nan"}, "rh_offset_pct", "is not a number"),
    ],
)
def test_offsets_no_sensor_needs(
    client: TestClient, typed: dict[str, str], field: str, words: str
) -> None:
    """Just above what a working sensor needs is refused beside its field."""
    page = onward(client, parse(client.get(START).text), way="offset")
    assert words in wrong(onward(client, page, 422, **typed), field)


def test_going_back_loses_nothing(client: TestClient) -> None:
    """The way back from the last step leads to the figures as they were typed."""
    page = onward(client, at_the_salts(client), read_low="35.1", read_high="78.2", note="shed")
    back = parse(client.get(page.one(of="back").attrs["href"]).text)
    kept = filled_in(back.one(of="fill"))
    assert (kept["read_low"], kept["read_high"], kept["note"]) == (["35.1"], ["78.2"], ["shed"])


def test_the_same_moment_twice_is_refused_beside_the_date(
    parts: WebParts, client: TestClient
) -> None:
    """A second correction of one moment would leave open which holds."""
    parts.store.add_correction(Correction(0, SENSOR, NOW_MS, temp_offset_c=1.0))
    page = onward(client, at_the_salts(client, "one"), 422, read="77")
    assert "has a correction from" in wrong(page, "at")


def test_a_correction_is_taken_back(parts: WebParts, client: TestClient) -> None:
    """The page of sensors leads to it; both steps stand in the journal."""
    onward(client, onward(client, at_the_salts(client, "one"), read="77"))
    links = parse(client.get("/sensors").text).all("a", of="take-back")
    (url,) = [a.attrs["href"] for a in links if "uncorrect" in a.attrs["href"]]
    page = send(client, url)
    assert "taken back" in said(page)
    assert not parts.store.corrections()
    assert "Itself it says" not in page.text
    assert client.get(url).status_code == 404


def test_markup_in_a_note_is_only_text(parts: WebParts, client: TestClient) -> None:
    """What is typed is shown as it was typed, and never run."""
    note = "<script>alert(1)</script>{{ 7*7 }}"
    page = onward(client, at_the_salts(client, "one"), read="77", note=note)
    onward(client, page)
    assert parts.store.corrections()[0].how.endswith(note)
    shown = client.get("/sensors").text
    assert "<script>alert" not in shown
    assert note in parse(shown).text


def test_an_unknown_sensor_is_said(client: TestClient) -> None:
    """A step for a sensor that is not here is no page."""
    for step in ("", "/salts", "/read", "/offset", "/save"):
        assert client.get(f"/sensors/correct{step}?sensor=lane/gone").status_code == 404


def test_a_step_without_what_comes_before_it_says_so(client: TestClient) -> None:
    """An address someone shortened is answered in words, and saves nothing."""
    assert client.get(f"/sensors/correct/read?sensor={SENSOR}&way=two").status_code == 422
    page = client.get(f"/sensors/correct/save?sensor={SENSOR}")
    assert "Choose one of these." in page.text
