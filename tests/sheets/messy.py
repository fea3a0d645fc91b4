"""Ten lists as growers keep them, each messy in its own way, with what they mean.

Varieties and firms are made up. An intended lot is written as kind, variety, then only the fields
the row speaks of.
"""

# ruff: noqa: E501, DTZ001 - a row of a list is one line, and a spreadsheet knows no time zone

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from openpyxl import Workbook

from hilum.sheets.proposal import Options, Unit

Meaning = tuple[str, str, Mapping[str, object]]


@dataclass(frozen=True)
class Case:
    """One file: by row the lot that is meant; ``refused`` rows must be reported, with a word."""

    file: str
    data: bytes
    meant: Mapping[int, Meaning]
    refused: Mapping[int, str] = field(default_factory=dict)
    boxes: Mapping[int, str] = field(default_factory=dict)
    options: Options = field(default_factory=Options)
    unused: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()


def workbook(*sheets: tuple[str, Sequence[Sequence[object]]]) -> Workbook:
    """A workbook with these rows."""
    book = Workbook()
    for sheet in list(book.worksheets):
        book.remove(sheet)
    for name, rows in sheets:
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    return book


def saved(book: Workbook) -> bytes:
    """Bytes of a workbook."""
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def lot(kind: str, variety: str = "", **values: object) -> Meaning:
    """What a row means."""
    return kind, variety, values


SEMICOLONS = Case(
    "Sämereien.csv",
    """Bestand Gartenverein Salzwiese;;;;;;;
Stand: 14. Februar;;;;;;;
;;;;;;;
Nr.;Kultur;Sorte;Herkunft;Erntejahr;Keimfähigkeit;Menge;Lagerort
1;Tomate;Rote Laterne;eigene Ernte;2024;92,5 %;2,5 g;Schublade A
2;Möhre;Winterlampe;Hügelsaat;2023;88 %;1.500 Korn;Kühlschrank
3;Mangold;Bunte Fahne;Hügelsaat;2025;;ca. 200 Korn;Kühlschrank
4;Kürbis;Großer Mond;;2022;70;12 Korn;Kühlschrank
5;Feuerbohne;Leuchtturm;Tausch;21;;0,25 kg;Schublade A
6;Rote Bete;Nachtkugel;Tausch;2031;81 %;10 g;Schublade A
""".encode("latin-1"),
    {
        5: lot(
            "tomato", "Rote Laterne", source="eigene Ernte", year=2024, label_pct=92.5, grams=2.5
        ),
        6: lot(
            "carrot", "Winterlampe", source="Hügelsaat", year=2023, label_pct=88.0, seeds=1500.0
        ),
        7: lot("swiss-chard", "Bunte Fahne", source="Hügelsaat", year=2025, seeds=200.0),
        9: lot("runner-bean", "Leuchtturm", source="Tausch", year=2021, grams=250.0),
    },
    {8: "Kürbis", 10: "2031"},
    {5: "Schublade A", 6: "Kühlschrank"},
    unused=("Nr.",),
)

US_DATES = Case(
    "seed inventory.csv",
    b"""Lot #,Vegetable,Variety,Seed Company,Packed For,Germ %,Germ Test Date,Approx. Seed Count,Where stored
T-01,Tomato,"Boatshed Red",Hill & Dale Seeds,2024,92,2/14/2024,"1,200",Blue tub
L-07,Lettuce,Winter Lamp,Hill & Dale Seeds,2023,88%,11/3/2023,~500,Blue tub
P-11,Hot pepper,Fire Lantern,Own,2022,0,3/9/2023,25+,Fridge jar
B-02,Bean,Bush Harbour,Own,2024,46/50,12/31/2024,80-100,Fridge jar
B-02,Pea,Tall Tide,Own,2024,90,1/2/2025,60,Fridge jar
C-09,Carrots,Long Shadow,Own,2024,9O,1/2/2025,60,Fridge jar
""",
    {
        2: lot(
            "tomato",
            "Boatshed Red",
            code="T-01",
            source="Hill & Dale Seeds",
            year=2024,
            label_pct=92.0,
            label_date=date(2024, 2, 14),
            seeds=1200.0,
        ),
        3: lot(
            "lettuce",
            "Winter Lamp",
            code="L-07",
            source="Hill & Dale Seeds",
            year=2023,
            label_pct=88.0,
            label_date=date(2023, 11, 3),
            seeds=500.0,
        ),
        4: lot(
            "pepper",
            "Fire Lantern",
            code="P-11",
            source="Own",
            year=2022,
            label_pct=0.0,
            label_date=date(2023, 3, 9),
            seeds=25.0,
        ),
    },
    {5: "same code", 6: "same code", 7: "9O"},
    {2: "Blue tub", 4: "Fridge jar"},
)

ONE_COLUMN = Case(
    "list.txt",
    """Seed\tHarvest\tHow much left\tNotes
Tomato "Boatshed Red"\t2023\t3 pkts\tgood
Lettuce - Winter Lamp\t'22\t1/2 oz\t
Sweet pea: Tide\t2024\tapprox 50 seeds\t"tall, late"
Beans, Runner 'Tall Ship'\t2021\t2 packets of 40 seeds\t
Kale\t2020\ta few\t
Squash, winter (Moon Keeper)\t2023/24\t12 seeds\t
Boatshed Yellow Tomato\t2024\t0.5 g\t
Cress\t2024\t5 g\t
Orange Tomato\t2024\t10 seeds\t
""".encode("utf-16"),
    {
        2: lot("tomato", "Boatshed Red", year=2023, note="good; 3 packets"),
        3: lot("lettuce", "Winter Lamp", year=2022, grams=14.1747615625),
        4: lot("sweet-pea", "Tide", year=2024, seeds=50.0, note="tall, late"),
        5: lot("runner-bean", "Tall Ship", year=2021, seeds=80.0),
        6: lot("kale", "", year=2020, note="How much left: a few"),
        7: lot("winter-squash", "Moon Keeper", year=2023, seeds=12.0),
        8: lot("tomato", "Boatshed Yellow", year=2024, grams=0.5),
    },
    {9: "more than one kind", 10: "Citrus or Tomato"},
)


_STOCK: list[list[object]] = [
    ["Allotment seed list", None, None, None, None, None, None],
    [],
    ["Crop", "Variety", "Year", "Germination", "Tested", "Seeds", "Stored in", "In box since"],
    ["Onion", "Red Lantern", 2024, 0.92, datetime(2025, 3, 1), 250, "Cold jar", date(2025, 4, 1)],
    [
        "Leek",
        "Tall Mast",
        datetime(2023, 8, 1),
        0.855,
        datetime(2024, 1, 15, 13, 30),
        100,
        "Cold jar",
    ],
    [
        "Parsnip",
        "White Root",
        datetime(1905, 7, 16),
        0.61,
        datetime(2024, 2, 2),
        "=50*2",
        "Cold jar",
    ],
    ["Radish", 2023, 2023, 1, None, 1e308, "Cold jar"],
    ["Radish", "Spark", 2023, 0.9, datetime(2031, 1, 1), 30, "Cold jar"],
    ["Basil", "<b>Green</b>", "2024", 0.75, None, -5, "Cold jar"],
    ["Basil", "<script>alert(1)</script>", "2024", 0.75, None, 20, "Cold jar"],
]


def _dated() -> bytes:
    """A workbook with real dates, percentages, a year in a date cell, formulas and a title."""
    notes = [["Seeds of the allotment, please keep up to date"], ["Ask at the shed"]]
    book = workbook(("Read me", notes), ("Stock", _STOCK))
    sheet = book["Stock"]
    sheet.merge_cells("A1:G1")
    for row in range(4, 11):
        sheet.cell(row, 4).number_format = "0%"
    return saved(book)


DATED = Case(
    "allotment.xlsx",
    _dated(),
    {
        4: lot(
            "onion",
            "Red Lantern",
            year=2024,
            label_pct=92.0,
            label_date=date(2025, 3, 1),
            seeds=250.0,
        ),
        5: lot(
            "leek",
            "Tall Mast",
            year=2023,
            label_pct=85.5,
            label_date=date(2024, 1, 15),
            seeds=100.0,
        ),
        10: lot("basil", "<script>alert(1)</script>", year=2024, label_pct=75.0, seeds=20.0),
    },
    {6: "formula whose result was never saved", 7: "1e+308", 8: "future", 9: "below nothing"},
    {4: "Cold jar"},
)

SECTIONS = Case(
    "by crop.csv",
    b"""TOMATOES,,,
Variety,From,Yr,Germ
Boatshed Red,Own,2023,90%
Sea Pearl,Hill & Dale Seeds,2022,80%
,,,
LETTUCE:,,,
Winter Lamp,Own,2024,95%
remember to order more,,,
Variety,From,Yr,Germ
HERBS,,,
Basil,,,
Green Sail,Own,2024,
Total,,,3
""",
    {
        3: lot("tomato", "Boatshed Red", source="Own", year=2023, label_pct=90.0),
        4: lot("tomato", "Sea Pearl", source="Hill & Dale Seeds", year=2022, label_pct=80.0),
        7: lot("lettuce", "Winter Lamp", source="Own", year=2024, label_pct=95.0),
        12: lot("basil", "Green Sail", source="Own", year=2024),
    },
    {8: "stands alone", 10: "stands alone", 13: "total"},
)

GROUPED = Case(
    "groups.csv",
    b"""Kind;Cultivar;Supplier;Vintage;% germ;Tested on;Weight (oz);Packaging;Location
Tomato;Boatshed Red;Own;2023;90;1 March 2024;0.5;paper envelope;Tin 1
;Sea Pearl;Own;2022;80;Feb 2023;0.25;foil pouch;Tin 1
;Night Buoy;Own;2024;.91;05-Mar-25;1.5;glass vial;Tin 1
Cucumber;Long Pier;Own;2021;77;2022-05-06;2;plastic zip bag;Tin 2
;Short Pier;Own;2020;70;13/05/2021;1 lb;sack;Tin 2
""",
    {
        2: lot(
            "tomato",
            "Boatshed Red",
            source="Own",
            year=2023,
            label_pct=90.0,
            label_date=date(2024, 3, 1),
            grams=14.1747615625,
        ),
        3: lot(
            "tomato",
            "Sea Pearl",
            source="Own",
            year=2022,
            label_pct=80.0,
            label_date=date(2023, 2, 1),
            grams=7.08738078125,
        ),
        4: lot(
            "tomato",
            "Night Buoy",
            source="Own",
            year=2024,
            label_pct=91.0,
            label_date=date(2025, 3, 5),
            grams=42.5242846875,
        ),
        5: lot(
            "cucumber",
            "Long Pier",
            source="Own",
            year=2021,
            label_pct=77.0,
            label_date=date(2022, 5, 6),
            grams=56.69904625,
        ),
        6: lot(
            "cucumber",
            "Short Pier",
            source="Own",
            year=2020,
            label_pct=70.0,
            label_date=date(2021, 5, 13),
            grams=453.59237,
            note="Packaging: sack",
        ),
    },
    {},
    {2: "Tin 1", 5: "Tin 2"},
)

BOTANICAL = Case(
    "library.tsv",
    b"""Accession No.\tLatin name\tCommon name\tCultivar\tDonor\tYear collected\tViability\tSample size\tComments\tFamily
SL-001\tSolanum lycopersicum\tTomato\tBoatshed Red\tMember 12\t2019\t87\t100\tfrom the old glasshouse\tSolanaceae
SL-002\tPhaseolus coccineus\tBean\tTall Ship\tMember 3\t2020\t91\t50\t\tFabaceae
SL-003\tCucurbita maxima\tSquash\tMoon Keeper\tMember 3\t2018\t66\t50\t=HYPERLINK("http://bad.example")\tCucurbitaceae
SL-004\tCapsicum annuum\tTomato\tFire Lantern\tMember 9\t2021\t75\t100\t\tSolanaceae
SL-005\tGentiana verna\tSpring gentian\t\tMember 9\t2021\t40\t100\t\tGentianaceae
SL-006\tBeta vulgaris\tChard\tBunting\tMember 9\t2021\tn/a\t\t\tAmaranthaceae
""",
    {
        2: lot(
            "tomato",
            "Boatshed Red",
            code="SL-001",
            source="Member 12",
            year=2019,
            label_pct=87.0,
            label_n=100,
            note="from the old glasshouse",
        ),
        3: lot(
            "runner-bean",
            "Tall Ship",
            code="SL-002",
            source="Member 3",
            year=2020,
            label_pct=91.0,
            label_n=50,
        ),
        4: lot(
            "winter-squash",
            "Moon Keeper",
            code="SL-003",
            source="Member 3",
            year=2018,
            label_pct=66.0,
            label_n=50,
            note='=HYPERLINK("http://bad.example")',
        ),
        7: lot("swiss-chard", "Bunting", code="SL-006", source="Member 9", year=2021),
    },
    {5: "Capsicum", 6: "No kind of seed is known"},
    unused=("Family",),
)

FRENCH = Case(
    "semences.csv",
    """"Espèce";"Variété";"Fournisseur";"Année";"Taux de germination";"Date du test";"Quantité (graines)";"Emplacement";"Prix"
"Tomate";"Lanterne rouge";"Graines du Quai";"2024";"92,5";"03/04/2025";"120";"Tiroir 2";"3,20"
"Haricot d'Espagne";"Grand mât";"Graines du Quai";"2023";"88";"15/12/2023";"40";"Tiroir 2";"4,10"
"Laitue";"Lampe d'hiver";"perso";"2022";"75";"mars 2023";"1 000";"Frigo";""
"Courge";"Lune";"perso";"2022";"75";"mars 2023";"15";"Frigo";""
""".encode("cp1252"),
    {
        2: lot(
            "tomato",
            "Lanterne rouge",
            source="Graines du Quai",
            year=2024,
            label_pct=92.5,
            label_date=date(2025, 4, 3),
            seeds=120.0,
        ),
        3: lot(
            "runner-bean",
            "Grand mât",
            source="Graines du Quai",
            year=2023,
            label_pct=88.0,
            label_date=date(2023, 12, 15),
            seeds=40.0,
        ),
        4: lot(
            "lettuce",
            "Lampe d'hiver",
            source="perso",
            year=2022,
            label_pct=75.0,
            label_date=date(2023, 3, 1),
            seeds=1000.0,
        ),
    },
    {5: "Courge"},
    {2: "Tiroir 2", 4: "Frigo"},
    unused=("Prix",),
)

DUTCH = Case(
    "zaden.csv",
    b"""Zaadlijst volkstuin
Gewas,Ras,Leverancier,Oogstjaar,Kiemkracht,Datum kiemtest,Aantal,Bewaarplaats,Opmerking
Wortel,Lange Pier,Zaadkade,2024,"91,5%",04-03-2025,"1.500 zaden",Koelkast,
Pronkboon,Hoge Mast,eigen,2023,80%,12-11-2023,60 zaden,Lade 1,mooi
Sla,Winterlamp,eigen,2022,70%,4 mei 2023,2 zakjes,Lade 1,
Kool,Groot,eigen,2022,70%,4 mei 2023,2 zakjes,Lade 1,
""",
    {
        3: lot(
            "carrot",
            "Lange Pier",
            source="Zaadkade",
            year=2024,
            label_pct=91.5,
            label_date=date(2025, 3, 4),
            seeds=1500.0,
        ),
        4: lot(
            "runner-bean",
            "Hoge Mast",
            source="eigen",
            year=2023,
            label_pct=80.0,
            label_date=date(2023, 11, 12),
            seeds=60.0,
            note="mooi",
        ),
        5: lot(
            "lettuce",
            "Winterlamp",
            source="eigen",
            year=2022,
            label_pct=70.0,
            label_date=date(2023, 5, 4),
            note="2 packets",
        ),
    },
    {6: "Kool"},
    {3: "Koelkast", 4: "Lade 1"},
)

ASKED = Case(
    "ask me.csv",
    b"""Name,Germ test,Date of test,Qty,Mystery
Tomato Boatshed Red,90,1/3/2024,2,17
Lettuce Winter Lamp,85,4/5/2024,3,23
Kale Black Sail,80,6/6/2024,1,9
""",
    {
        2: lot(
            "tomato", "Boatshed Red", label_pct=90.0, label_date=date(2024, 3, 1), note="2 packets"
        ),
        3: lot(
            "lettuce", "Winter Lamp", label_pct=85.0, label_date=date(2024, 5, 4), note="3 packets"
        ),
        4: lot("kale", "Black Sail", label_pct=80.0, label_date=date(2024, 6, 6), note="1 packet"),
    },
    options=Options(day_first=True, unit=Unit.PACKETS),
    unused=("Mystery",),
)

CASES = {
    case.file: case
    for case in (
        *(SEMICOLONS, US_DATES, ONE_COLUMN, DATED, SECTIONS),
        *(GROUPED, BOTANICAL, FRENCH, DUTCH, ASKED),
    )
}
