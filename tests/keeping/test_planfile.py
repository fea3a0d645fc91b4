"""Season plans read from tables people make."""

import pytest

from hilum.domain.errors import InvalidInputError
from hilum.domain.model import PlanLine
from hilum.keeping.seasons.planfile import read_plan


def test_every_column_is_read() -> None:
    """All columns, names of kinds as people write them, and lines left empty."""
    text = (
        "\ufeffKind,Variety,Plants,Packet,Packet plants,Loss,Field,Note\n"
        "Onions,Red,200,150,,5,0.8,early\n"
        ",,,,,,,\n"
        "letuce,any,50,,40,,75 %,\n"
    )
    assert read_plan(text) == [
        PlanLine("onion", 200, "Red", 150, None, 5.0, 0.8, "early"),
        PlanLine("lettuce", 50, "any", None, 40, 10.0, 0.75),
    ]


@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_fields_may_be_divided_by_several_signs(sign: str) -> None:
    """Comma, semicolon and tab; with a semicolon a comma is the decimal sign."""
    decimal = "," if sign == ";" else "."
    text = f"crop{sign}plants wanted{sign}losses\nonion{sign}12{sign}7{decimal}5\n"
    assert read_plan(text) == [PlanLine("onion", 12, loss_pct=7.5)]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("variety,plants\nRed,5\n", "column “kind”"),
        ("kind,variety\nonion,Red\n", "column “plants”"),
        ("kind,plants\nonion,many\n", "Line 2: “many” is no number"),
        ("kind,plants\nonion,\n", "Line 2: no number of plants"),
        ("kind,plants\n,5\n", "Line 2: no kind"),
        ("kind,plants\nonion,5\nbean,5\n", "Line 3: .*more than one"),
        ("kind,plants,loss\nonion,5,95\n", "loss_pct must be between 0 and 90"),
        ("kind,plants\nonion,nan\n", "between 1 and 100000"),
    ],
)
def test_what_cannot_be_read_is_named(text: str, said: str) -> None:
    """The line and what is wrong with it are named."""
    with pytest.raises(InvalidInputError, match=said):
        read_plan(text)


def test_all_bad_lines_are_named_at_once() -> None:
    """One does not have to mend a table line by line."""
    with pytest.raises(InvalidInputError) as raised:
        read_plan("kind,plants\nonoin-thing,5\nonion,0\nonion,8\n")
    assert [line[:6] for line in str(raised.value).splitlines()] == ["Line 2", "Line 3"]
