"""Whatever is given, the answer is a proposal that can be applied once, or one sentence."""

import csv
import io

from hypothesis import given, settings
from hypothesis import strategies as st

from hilum.domain.errors import InvalidInputError
from hilum.sheets.applying import apply
from hilum.sheets.proposal import propose
from hilum.stores.memory import MemoryStore
from sheets.messy import CASES
from sheets.worlds import NASTY, NOW

HEADINGS = (
    *("Code", "Kind", "Variety", "Botanical name", "Source", "Year", "Germ %", "Test date"),
    *("Seeds", "Weight (g)", "Qty", "Packets", "Box", "Wrap", "In box since", "Notes", "Blip", ""),
)
CELLS = st.one_of(
    st.sampled_from(
        (
            *NASTY,
            *(
                "Tomato",
                "Bean",
                "Pea 'Tide'",
                "2024",
                "24",
                "92 %",
                "0.9",
                "1/3/2024",
                "2024-05-01",
            ),
            *(
                "50 seeds",
                "5 g",
                "1e308",
                "-1",
                "nan",
                "inf",
                "45000",
                "3 pkts",
                "Drawer 1",
                "foil",
            ),
            *("9" * 40, "0", "46/50", "1/0", "50-40", "½", "١٢", "²", "1.2.3", "--", "%", "12:30"),
        )
    ),
    st.text(max_size=15),
)


def answered(data: bytes) -> None:
    """Propose, apply, and propose again."""
    store = MemoryStore()
    try:
        proposal = propose(data, "x", store, NOW)
    except InvalidInputError as error:
        assert str(error).endswith((".", "?"))  # noqa: PT017 - either answer will do
        return
    apply(proposal, store, NOW)
    assert propose(data, "x", store, NOW).changes_nothing
    assert all(problem.reason.endswith((".", "?")) for problem in proposal.problems)


@settings(max_examples=300)
@given(data=st.binary(max_size=400))
def test_any_bytes(data: bytes) -> None:
    """Bytes that mean nothing are refused, never a crash."""
    answered(data)


@settings(max_examples=300)
@given(
    headings=st.lists(st.sampled_from(HEADINGS), min_size=2, max_size=8),
    rows=st.lists(st.lists(CELLS, max_size=9), max_size=6),
    delimiter=st.sampled_from(",;\t"),
)
def test_any_cells(headings: list[str], rows: list[list[str]], delimiter: str) -> None:
    """Any cells under any headings give lots that a store takes, and the same again."""
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter).writerows([["Kind", *headings], *rows])
    answered(text.getvalue().encode("utf-8", "replace"))


@settings(max_examples=200)
@given(
    name=st.sampled_from(sorted(CASES)),
    at=st.integers(0, 10_000),
    byte=st.integers(0, 255),
    cut=st.booleans(),
)
def test_any_damage(name: str, at: int, byte: int, *, cut: bool) -> None:
    """One byte changed, or the end lost, in a real list: still a proposal or a sentence."""
    data = CASES[name].data
    place = at % len(data)
    answered(data[:place] if cut else data[:place] + bytes([byte]) + data[place + 1 :])
