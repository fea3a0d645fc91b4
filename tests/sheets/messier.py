"""Five more lists as growers keep them, in shapes the first ten do not have.

Headings over two lines, merged cells, kinds packed with varieties, seasons for years, dates behind
germinations, counts beside counts, UTF-16, Spanish, totals, yes and no, dates a spreadsheet keeps
as numbers. Varieties and firms are made up.
"""

# ruff: noqa: E501, DTZ001 - a row of a list is one line, and a spreadsheet knows no time zone

from datetime import date, datetime

from sheets.messy import Case, lot, saved, workbook

_TUNNEL: list[list[object]] = [
    ["Tunnel and field, seed in hand", None, None, None, None, None, None, None, None, None],
    [None],
    [
        "Crop",
        "Cultivar",
        "Origin",
        None,
        "In stock",
        None,
        "Germination",
        None,
        "Organic?",
        "Notes",
    ],
    [None, None, "Supplier", "Year", "Weight (g)", "Packets", "%", "Tested on", None, None],
    [
        "Tomato",
        "Boatshed Red",
        "Hill & Dale",
        2023.0,
        1.5,
        2.0,
        "92",
        45000,
        True,
        "best in\nthe tunnel",
    ],
    [None, "Sea Pearl", "Own", 2022.0, 0.4, None, "85 %", 45123, False, None],
    [None, "Night Buoy", "Own", "2020/21", None, 1, "8/10", "March 2024", False, None],
    [None],
    ["Pepper", "Fire Lantern", "Own", 2024.0, 0.8, None, 0.9, datetime(2025, 2, 1), True, None],
    [None, "Green Bell", "Swap", "spring 2022", 1.2, None, "n/a", None, None, None],
    [
        "Onion",
        "Long Keeper",
        "Hill & Dale",
        2024,
        3,
        None,
        88,
        datetime(2025, 2, 1, 9, 30),
        None,
        "strings",
    ],
    [
        "Leek",
        "Tall Mast",
        "Hill & Dale",
        "packed for 2025",
        2.5,
        None,
        "90-95",
        "Jan 2025",
        None,
        None,
    ],
    ["TOTAL", None, None, None, 9.4, 3, None, None, None, None],
]


def _tunnel() -> bytes:
    book = workbook(("Read me", [["Ask before you take seed"]]), ("Inventory", _TUNNEL))
    sheet = book["Inventory"]
    for cells in ("A1:J1", "C3:D3", "E3:F3", "G3:H3", "A5:A7", "A9:A10"):
        sheet.merge_cells(cells)
    return saved(book)


TUNNEL = Case(
    "tunnel.xlsx",
    _tunnel(),
    {
        5: lot("tomato", "Boatshed Red", source="Hill & Dale", year=2023, label_pct=92.0, label_date=date(2023, 3, 15), grams=1.5, note="best in\nthe tunnel; 2 packets"),
        6: lot("tomato", "Sea Pearl", source="Own", year=2022, label_pct=85.0, label_date=date(2023, 7, 16), grams=0.4),
        7: lot("tomato", "Night Buoy", source="Own", year=2020, label_pct=80.0, label_n=10, label_date=date(2024, 3, 1), note="1 packet"),
        9: lot("pepper", "Fire Lantern", source="Own", year=2024, label_pct=90.0, label_date=date(2025, 2, 1), grams=0.8),
        10: lot("pepper", "Green Bell", source="Swap", year=2022, grams=1.2),
        11: lot("onion", "Long Keeper", source="Hill & Dale", year=2024, label_pct=88.0, label_date=date(2025, 2, 1), grams=3.0, note="strings"),
        12: lot("leek", "Tall Mast", source="Hill & Dale", year=2025, label_pct=90.0, label_date=date(2025, 1, 1), grams=2.5),
    },
    {13: "total"},
    unused=("Organic?",),
)  # fmt: skip

PACKED = Case(
    "Saatgut.txt",
    """Saatgutliste\tStand: Herbst\t\t\t\t\t\t\t
\t\t\t\t\t\t\t\t
Gemüse (Sorte)\tErnte\tSäen bis\tKeimprobe\tMenge\tVorratsort\tBio\t\tBemerkung
Zwiebel (Lange Wache)\t2022/23\t2026\t8/10 (Frühjahr 2024)\t3 g\tKeller 1\tja\t\t
Möhre 'Winterlampe'\tHerbst 2021\t2025\t80% (03.04.2024)\tca. 500 Korn\tKeller 1\tnein\t\talt
Kopfsalat, Eisvogel\t2023\tbis 2026\t8 von 10, März 2024\t1/2 Tüte\tKeller 2\tx\t\t
Stangenbohne "Hoher Mast"\t2024\t\t95\t120 Stück\tKeller 2\t\t\t
Radieschen - Frühe Boje\t'24\t\t90 % (n=50)\teine Handvoll\tKeller 2\t\t\tSorte unsicher
Rote Bete (Nachtkugel)\t2023?\t\t85 (alt)\t10g\tKeller 2\t\t\t
Fleischtomate: Kleiner Kahn\tca. 2020\t\tnicht getestet\t25 Korn\tKeller 2\t\t\t
TOMATEN "Rote Laterne"\tErnte 2024\t\t>90 %\t40 Korn\tKeller 2\t\t\t
Kürbis (Großer Mond)\t2024\t\t90 %\t4 Korn\tKeller 2\t\t\t
Spinat (Grüner Hafen)\t2024\t\tgut\t20 g\tKeller 2\t\t\t
Summe\t\t\t\t7 Posten\t\t\t\t
""".encode("utf-16"),
    {
        4: lot("onion", "Lange Wache", year=2022, label_pct=80.0, label_n=10, label_date=date(2024, 1, 1), grams=3.0),
        5: lot("carrot", "Winterlampe", year=2021, label_pct=80.0, label_date=date(2024, 4, 3), seeds=500.0, note="alt"),
        6: lot("lettuce", "Eisvogel", year=2023, label_pct=80.0, label_n=10, label_date=date(2024, 3, 1), note="0.5 packets"),
        7: lot("garden-bean", "Hoher Mast", year=2024, label_pct=95.0, seeds=120.0),
        8: lot("radish", "Frühe Boje", year=2024, label_pct=90.0, label_n=50, note="Sorte unsicher; Menge: eine Handvoll"),
        9: lot("beet", "Nachtkugel", year=2023, label_pct=85.0, grams=10.0, note="Keimprobe: 85 (alt)"),
        10: lot("tomato", "Kleiner Kahn", year=2020, seeds=25.0),
        11: lot("tomato", "Rote Laterne", year=2024, label_pct=90.0, seeds=40.0),
    },
    {12: "Kürbis", 13: "gut", 14: "total"},
    {4: "Keller 1", 9: "Keller 2"},
    unused=("Säen bis", "Bio", ""),
)  # fmt: skip

CELLAR = Case(
    "graines cave.csv",
    """\ufeffEspèce ;Variété ;Récolté ;À semer avant ;Origine ;% germ. ;Date test ;Qté (g) ;Nb graines ;Rangé dans ;;Notes
Tomate ;Lanterne rouge ;automne 2022 ;2027 ;perso ;"92 % " ;avril 2025 ;"1,5" ;;boîte bleue ;;
"Haricot vert ";Grand mât;2023;2027;Graines du Quai;88%;05/04/2025;"120";"300";boîte bleue;;"nain ; précoce"
"Courge (potimarron)";Lune rousse;2022;;perso;7/10;été 2024;;15;cave;;
Persil plat;Vague;env. 2021;;perso;env. 60 %;;5;;cave;;
Poireau;Hiver gris;récolte 2023;;troc;"87,5";3 mars 2024;"2,25";;cave;;
Betterave;Nuit;2024;;troc;90;15/12/2024;;1 000;cave;;
Laitue;Sable;2024;;troc;90;15/12/2024;;1.000;cave;;
Chou;Rond;2024;;troc;90;15/12/2024;;50;cave;;
Total;;;;;;;"128,75";1 315;;;
""".encode(),
    {
        2: lot("tomato", "Lanterne rouge", source="perso", year=2022, label_pct=92.0, label_date=date(2025, 4, 1), grams=1.5),
        3: lot("garden-bean", "Grand mât", source="Graines du Quai", year=2023, label_pct=88.0, label_date=date(2025, 4, 5), grams=120.0, seeds=300.0, note="nain ; précoce"),
        4: lot("winter-squash", "Lune rousse", source="perso", year=2022, label_pct=70.0, label_n=10, label_date=date(2024, 1, 1), seeds=15.0, note="Kind as written: Courge (potimarron)"),
        5: lot("parsley", "Vague", source="perso", year=2021, label_pct=60.0, grams=5.0),
        6: lot("leek", "Hiver gris", source="troc", year=2023, label_pct=87.5, label_date=date(2024, 3, 3), grams=2.25),
        7: lot("beet", "Nuit", source="troc", year=2024, label_pct=90.0, label_date=date(2024, 12, 15), seeds=1000.0),
        8: lot("lettuce", "Sable", source="troc", year=2024, label_pct=90.0, label_date=date(2024, 12, 15), seeds=1000.0),
    },
    {9: "Chou", 10: "total"},
    {2: "boîte bleue", 4: "cave"},
    unused=("À semer avant", ""),
)  # fmt: skip

COURTYARD = Case(
    "semillas patio.csv",
    """Cultivo,Variedad,Procedencia,Año de cosecha,Sembradas,Germinadas,Fecha de la prueba,Cantidad,Lugar,Precio (€),Observaciones
Tomate,Farol rojo,propia,2023,50,46,15/03/2024,200 semillas,Caja azul,"2,50",
Judía verde,Mástil alto,intercambio,2022,20,17,marzo de 2024,1.200 semillas,Caja azul,,enana
Zanahoria,Lámpara,Semillas del Puerto,2021,100,78,3 de mayo de 2023,"2,5 g",Nevera,"1,95",
Lechuga,Ala gris,propia,otoño 2022,10,8,abril 2024,1 sobre,Nevera,,
Calabacines,Bote,propia,2024,,,,30 semillas,Nevera,,
Cebolla,Guarda,propia,2024,sin probar,sin probar,,5 g,Nevera,,
Guisante,Marea,propia,2020,40,28,feb 2023,,Nevera,,vieja
Pimiento,Brasa,propia,2023,,9,feb 2024,10 semillas,Nevera,,
Acelga,Arco,propia,2023,10,12,feb 2024,10 semillas,Nevera,,
""".encode("cp1252"),
    {
        2: lot("tomato", "Farol rojo", source="propia", year=2023, label_pct=92.0, label_n=50, label_date=date(2024, 3, 15), seeds=200.0),
        3: lot("garden-bean", "Mástil alto", source="intercambio", year=2022, label_pct=85.0, label_n=20, label_date=date(2024, 3, 1), seeds=1200.0, note="enana"),
        4: lot("carrot", "Lámpara", source="Semillas del Puerto", year=2021, label_pct=78.0, label_n=100, label_date=date(2023, 5, 3), grams=2.5),
        5: lot("lettuce", "Ala gris", source="propia", year=2022, label_pct=80.0, label_n=10, label_date=date(2024, 4, 1), note="1 packet"),
        6: lot("summer-squash", "Bote", source="propia", year=2024, seeds=30.0),
        7: lot("onion", "Guarda", source="propia", year=2024, grams=5.0),
        8: lot("pea", "Marea", source="propia", year=2020, label_pct=70.0, label_n=40, label_date=date(2023, 2, 1), note="vieja"),
    },
    {9: "of how many", 10: "cannot have come up"},
    {2: "Caja azul", 5: "Nevera"},
    unused=("Precio (€)",),
)  # fmt: skip

PIPES = Case(
    "my seeds.txt",
    b"""Name|Type|Bought from|Date bought|Sow by|Seeds left|Wt. oz|Test|Days to germ|Seeds per gram|Where|Comments
Boatshed Red|Tomato, cherry|Hill & Dale|Jan 2023|sow by 2025|~40||9 out of 10 (Mar 2024)|7|350|Shoebox|
Winter Lamp|Lettuce (cos)|Swap|2022|2026|lots|0.1|85% 3/2024|5|800|Shoebox|
Tall Ship|Bean - Runner|Own||2026|35||23/25|10|1|Jar 2|
Moon Keeper|Squash - Winter|Own|spring 2022||12||not yet|7|4|Jar 2|Blue skin
Black Sail|Kale|Own|Nov-22||150+||88|6|300|Jar 2|
Sea Spray|Parsley|Own|2021||1,200||50 (old)|21|500|Jar 2|
Tide Line|Pea|Own|2021||60||03/2024|9|4|Jar 2|
Lost Label||Own|2021||60||80|9|4|Jar 2|
""",
    {
        2: lot("tomato", "Boatshed Red", source="Hill & Dale", label_pct=90.0, label_n=10, label_date=date(2024, 3, 1), seeds=40.0),
        3: lot("lettuce", "Winter Lamp", source="Swap", label_pct=85.0, label_date=date(2024, 3, 1), grams=2.83495, note="Seeds left: lots"),
        4: lot("runner-bean", "Tall Ship", source="Own", label_pct=92.0, label_n=25, seeds=35.0),
        5: lot("winter-squash", "Moon Keeper", source="Own", seeds=12.0, note="Blue skin"),
        6: lot("kale", "Black Sail", source="Own", label_pct=88.0, seeds=150.0),
        7: lot("parsley", "Sea Spray", source="Own", label_pct=50.0, seeds=1200.0, note="Test: 50 (old)"),
    },
    {8: "month", 9: "No kind"},
    {2: "Shoebox", 4: "Jar 2"},
    unused=("Date bought", "Sow by", "Days to germ", "Seeds per gram"),
)  # fmt: skip

CASES = {case.file: case for case in (TUNNEL, PACKED, CELLAR, COURTYARD, PIPES)}
