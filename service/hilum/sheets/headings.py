"""What growers write over their columns, in four languages, and what it means here."""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache, lru_cache

from hilum.science.names import slip_count

WEAK = 0.5  # names below this are no match
SURE = 0.95  # names from here on are the phrase itself
_SLIP_FROM = 6  # letters from which one typing error is forgiven


class Field(StrEnum):
    """What a column can hold."""

    CODE = "code"
    KIND = "kind"
    BOTANICAL = "botanical name"
    VARIETY = "variety"
    SOURCE = "source"
    YEAR = "year"
    GERMINATION = "germination"
    TESTED = "date of the test"
    TESTED_SEEDS = "seeds tested"
    SEEDS = "seeds"
    GRAMS = "weight"
    PACKETS = "packets"
    QUANTITY = "quantity"
    MINIMUM = "minimum germination"
    BOX = "box"
    WRAP = "wrap"
    SINCE = "in the box since"
    NOTE = "note"
    UNUSED = "not kept"


# Words are recalled; each stands for the whole heading without unit, sign or bracket.
_WORDS: Mapping[Field, Mapping[str, str]] = {
    Field.CODE: {
        "en": "code;lot;lot code;lot no;lot number;lot id;lot nr;id;seed id;packet code;packet no;"
        "accession;accession no;accession number;acc no;label;label no;ref;reference;barcode;"
        "inventory no;inventory number;item no;batch;batch no;batch number;number;no;nr;#",
        "de": "kennung;losnummer;los;los nr;partie;chargennummer;charge;nummer;tütennummer;tüte nr",
        "fr": "numéro de lot;n de lot;no de lot;numéro;n;réf",
        "nl": "lotnummer;partij;partijnummer;volgnummer;zakje nr",
    },
    Field.KIND: {
        "en": "kind;crop;crop name;species;vegetable;veg;plant;plant name;common name;common;"
        "type of seed;seed type;seed;seeds name;plant type;crop type;what;type;name;item;herb;"
        "flower;english;english name;description;vegetable name;seed name;crop species;product",
        "de": "art;kultur;gemüse;pflanze;pflanzenart;kulturart;gemüseart;deutscher name;saatgut;"
        "samen;bezeichnung",
        "fr": "espèce;légume;plante;culture;nom commun;nom;semence;désignation",
        "nl": "gewas;soort;groente;plant;nederlandse naam;naam;gewasnaam;zaad",
    },
    Field.BOTANICAL: {
        "en": "botanical;species;botanical name;latin;latin name;scientific;scientific name;"
        "species name;genus species;genus and species;taxon",
        "de": "botanisch;botanischer name;lateinischer name;wissenschaftlicher name",
        "fr": "nom latin;nom botanique;nom scientifique",
        "nl": "latijnse naam;botanische naam;wetenschappelijke naam",
    },
    Field.VARIETY: {
        "en": "variety;variety name;cultivar;cv;var;variety cultivar;cultivar name;strain;"
        "selection;variety or cultivar;named variety;cultivar variety;name of variety;name",
        "de": "sorte;sort;sortenname;sortenbezeichnung;zuchtsorte",
        "fr": "variété;cultivar;nom de la variété",
        "nl": "ras;variëteit;rasnaam;cultivar",
    },
    Field.SOURCE: {
        "en": "source;supplier;vendor;company;seed company;from;bought from;origin;obtained from;"
        "seller;grower;donor;breeder;provider;seedhouse;seed house;saved by;supplied by;shop;"
        "purchased from;brand;who from;where from;provenance;merchant;source supplier",
        "de": "herkunft;quelle;lieferant;händler;bezugsquelle;züchter;firma;von;bezug",
        "fr": "fournisseur;provenance;origine;semencier;source;acheté chez",
        "nl": "leverancier;herkomst;bron;gekocht bij;winkel;van",
    },
    Field.YEAR: {
        "en": "year;harvest year;year harvested;packed for;packed for year;seed year;crop year;"
        "year packed;vintage;season;year of harvest;harvest;harvested;yr;pack year;year saved;"
        "year grown;packing year;saved in;pkd for;packed;production year;year collected",
        "de": "jahr;erntejahr;jahrgang;ernte;abfülljahr;abgepackt",
        "fr": "année;millésime;récolte;année de récolte;an",
        "nl": "jaar;oogstjaar;oogst;jaargang;jaar van oogst",
    },
    Field.GERMINATION: {
        "en": "germination;germ;germination rate;germ rate;germination percentage;germination test;"
        "germ test;germination percent;viability;germ pct;germ percent;test result;label germ;"
        "germination result;germination on packet;germinated;tested germination;germ test result;"
        "germination pct;stated germination;label germination",
        "de": "keimfähigkeit;keimrate;keimung;keimquote;kf;keimprobe;keimf",
        "fr": "germination;taux de germination;faculté germinative;germ",
        "nl": "kiemkracht;kieming;kiempercentage;kiemkrachtpercentage",
    },
    Field.TESTED: {
        "en": "test date;tested;date tested;tested on;germ test date;germination test date;"
        "date of test;germ date;last tested;germination date;test month;date of germination test;"
        "test dt;germ tested;last germ test;tested date;last test",
        "de": "testdatum;prüfdatum;datum der keimprobe;geprüft;geprüft am;getestet;getestet am;"
        "keimtest datum;datum keimprobe;datum test;keimtest",
        "fr": "date du test;testé le;date de test;date test;date d analyse",
        "nl": "testdatum;datum kiemtest;getest;getest op;datum test;kiemtest;kiemdatum",
    },
    Field.TESTED_SEEDS: {
        "en": "seeds tested;sample size;number tested;n tested;tested seeds;test size;no tested",
        "de": "geprüfte samen;anzahl getestet;stichprobe",
        "fr": "graines testées",
        "nl": "zaden getest;aantal getest",
    },
    Field.SEEDS: {
        "en": "seeds;seed count;number of seeds;no of seeds;seeds left;seed number;count;"
        "seeds remaining;num seeds;approx seeds;approx seed count;how many seeds;of seeds;"
        "nr of seeds;seeds in stock",
        "de": "korn;kornzahl;körner;samenzahl;anzahl samen;anzahl körner",
        "fr": "graines;nombre de graines;nb de graines;nb graines",
        "nl": "zaden;aantal zaden",
    },
    Field.GRAMS: {
        "en": "weight;grams;gram;g;wt;mass;seed weight;weight left;net weight;ounces;oz",
        "de": "gewicht;gramm",
        "fr": "poids;grammes",
        "nl": "gewicht",
    },
    Field.PACKETS: {
        "en": "packets;pkts;packs;number of packets;no of packets;pkt;packet count;of packets;"
        "packet",
        "de": "tüten;päckchen;portionen;anzahl tüten",
        "fr": "sachets;nombre de sachets;paquets",
        "nl": "zakjes;aantal zakjes",
    },
    Field.QUANTITY: {
        "en": "quantity;qty;amount;stock;on hand;in stock;remaining;how much;how many;left;"
        "quantity left;amount left;inventory;quantity on hand;approx qty;qty left;packet size;"
        "contents",
        "de": "menge;bestand;anzahl;vorrat;stück;restmenge;inhalt",
        "fr": "quantité;qté;stock;reste",
        "nl": "hoeveelheid;aantal;voorraad;rest",
    },
    Field.MINIMUM: {
        "en": "minimum;minimum germination;min germ;min germination;germination standard;standard",
        "de": "mindestkeimfähigkeit",
        "fr": "germination minimale;minimum",
        "nl": "minimum kiemkracht",
    },
    Field.BOX: {
        "en": "box;location;stored in;storage;where;container;drawer;tub;tin;shelf;place;position;"
        "storage location;where stored;bin;box name;box no;box number;storage box;crate;kept in;"
        "where kept;loc;fridge or freezer;store;storage place",
        "de": "lagerort;kiste;schachtel;lager;ort;standort;lagerplatz;schublade;behälter;dose;fach",
        "fr": "boîte;emplacement;lieu;rangement;lieu de stockage;tiroir;stockage",
        "nl": "doos;plaats;locatie;bak;lade;opslag;bewaarplaats;bewaard in",
    },
    Field.WRAP: {
        "en": "wrap;packaging;packet type;package type;packing;packed in;pack type;wrapping;"
        "envelope;packet material;bag type",
        "de": "verpackung;tütenart;hülle",
        "fr": "emballage;conditionnement",
        "nl": "verpakking",
    },
    Field.SINCE: {
        "en": "in box since;in the box since;stored since;date stored;since;stored on;"
        "put in storage;storage date;in storage since;boxed;boxed on;date boxed;date in",
        "de": "eingelagert;eingelagert am;seit;im lager seit;einlagerung",
        "fr": "stocké depuis;depuis;mis en boîte;date de stockage",
        "nl": "opgeslagen sinds;sinds;opgeborgen;in doos sinds",
    },
    Field.NOTE: {
        "en": "note;notes;comment;comments;remark;remarks;memo;other;other notes;observations;"
        "details;info;misc",
        "de": "bemerkung;bemerkungen;notiz;notizen;anmerkung;anmerkungen;kommentar",
        "fr": "remarque;remarques;note;commentaire;commentaires;observations",
        "nl": "opmerking;opmerkingen;notitie;notities;aantekening",
    },
    Field.UNUSED: {
        "en": "price;cost;family;plant family;days to maturity;dtm;maturity;sow by;use by;expires;"
        "expiry;expiry date;expiration;best before;purchased;date purchased;purchase date;bought;"
        "date bought;acquired;date acquired;received;date received;order date;order no;category;"
        "class;colour;color;height;spacing;depth;sowing depth;url;link;website;photo;rating;"
        "organic;hybrid;open pollinated;annual perennial;sowing time;when to sow;year purchased;"
        "year bought;year acquired;purchase year;sku;row;row no;life;days to germination;germ days;"
        "germination temp;germination temperature;days to germinate;viability years;lifespan",
        "de": "preis;familie;kategorie;gekauft;kaufdatum;haltbar bis;mindesthaltbarkeit;farbe;"
        "aussaat;standraum;höhe;gekauft am;bestellnummer;keimdauer;keimtemperatur",
        "fr": "prix;famille;catégorie;date d achat;couleur;semis;à utiliser avant;acheté le",
        "nl": "prijs;familie;categorie;gekocht op;kleur;zaaitijd;houdbaar tot;aankoopdatum",
    },
}
_BRACKET = re.compile(r"[(\[{]([^)\]}]*)[)\]}]")
_UNITS = {
    "%": "%",
    "percent": "%",
    "pct": "%",
    "g": "g",
    "gram": "g",
    "grams": "g",
    "gramm": "g",
    "gr": "g",
    "kg": "kg",
    "mg": "mg",
    "oz": "oz",
    "ounces": "oz",
    "lb": "lb",
    "lbs": "lb",
    "seeds": "seeds",
    "seed": "seeds",
    "ct": "seeds",
    "count": "seeds",
    "korn": "seeds",
    "stück": "seeds",
    "stk": "seeds",
    "graines": "seeds",
    "zaden": "seeds",
    "packets": "packets",
    "pkts": "packets",
    "pkt": "packets",
    "packs": "packets",
    "sachets": "packets",
    "tüten": "packets",
    "zakjes": "packets",
}


_EACH = re.compile(
    r"(\b(per|je|pro|par|in (a|each))\s+|/\s*)"
    r"(packet|pkt|pack|envelope|sachet|tüte|zakje|portion)|packet size|\b(per|/)\s*pk",
    re.IGNORECASE,
)


def counts_each(heading: str) -> bool:
    """Tell whether a heading speaks of the content of one packet."""
    return bool(_EACH.search(heading))


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a heading may mean: how well it fits (0 to 1), and in which language."""

    field: Field
    fit: float
    language: str


@lru_cache(maxsize=20_000)
def plain(text: str) -> str:
    """Words of a heading: lower case, no accents, no punctuation."""
    bare = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(sign for sign in bare if not unicodedata.combining(sign))
    words = re.findall(r"[a-z0-9]+", re.sub(r"['’]s\b|\.(?=\w\b)", "", bare))
    return " ".join(words) or ("#" if "#" in text else "")


def unit_of(heading: str) -> str:
    """Unit a heading names: in brackets, or as its last word; empty if none."""
    bracket = _BRACKET.search(heading)
    words = [bracket[1]] if bracket else []
    words += re.split(r"[\s,/_]+", _BRACKET.sub(" ", heading).strip())[-1:]
    if "%" in heading:
        return "%"
    return next((_UNITS[word] for word in map(str.casefold, words) if word in _UNITS), "")


@lru_cache(maxsize=2_000)
def meanings(heading: str) -> tuple[Meaning, ...]:
    """Give what a heading may mean, the best first."""
    bare = plain(_BRACKET.sub(" ", heading)) or plain(heading)
    if not bare:
        return ()
    best: dict[Field, Meaning] = {}
    for phrase, field, language in _phrases():
        fit = _fit(bare, phrase)
        if fit >= WEAK and (field not in best or fit > best[field].fit):
            best[field] = Meaning(field, fit, language)
    found = sorted(best.values(), key=lambda meaning: -meaning.fit)
    if found and found[0].fit >= SURE:
        found = [meaning for meaning in found if meaning.fit >= SURE]
    return tuple(found)


@cache
def _phrases() -> tuple[tuple[str, Field, str], ...]:
    return tuple(
        (plain(phrase), field, language)
        for field, languages in _WORDS.items()
        for language, phrases in languages.items()
        for phrase in phrases.split(";")
    )


def _fit(heading: str, phrase: str) -> float:
    """Tell how well a heading fits a phrase: whole, nearly, or as a part of it."""
    if heading == phrase:
        return 1.0
    joined, other = heading.replace(" ", ""), phrase.replace(" ", "")
    if abs(len(joined) - len(other)) <= 1:
        if joined.rstrip("s") == other.rstrip("s"):
            return 0.95
        if len(other) >= _SLIP_FROM and slip_count(joined, other, 1) <= 1:
            return 0.85
    return _part(heading.split(), phrase.split()) if phrase in heading else 0.0


def _part(words: list[str], wanted: list[str]) -> float:
    """Tell how well a phrase stands for a longer heading it is a part of."""
    if len(words) > 6 or len("".join(wanted)) < 4:
        return 0.0
    if any(words[at : at + len(wanted)] == wanted for at in range(len(words))):
        return 0.5 + 0.3 * len(wanted) / len(words)
    return 0.0
