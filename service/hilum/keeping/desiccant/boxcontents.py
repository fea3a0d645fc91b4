"""What lies in a box, read from the journal and the lots: desiccant, weighings, seed."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from hilum.domain.model import Event, EventType, Lot, Stay
from hilum.domain.ports import Store
from hilum.keeping.desiccant.boxwater import Charge, SeedShare, Weighing
from hilum.keeping.reckoning.ledger import is_sealed
from hilum.science.desiccant import find_desiccant
from hilum.science.errors import UnknownNameError
from hilum.science.kinds import Kind, kind
from hilum.science.lag import REFERENCE_TEMP_C, tau_days

PACKET_G: Mapping[str, float] = {"small": 2.0, "large": 20.0}
"""What a packet weighs where neither grams nor seeds are noted (common practice, no source)."""

DRY_SHARE = 0.92
"""Dry matter of air-dry seed: about 8 % moisture."""

GREAT_CHANGE = 0.2
"""Seed that came or went is great when it is more than this share of what is there."""

MOST_EVENTS = 5000


@dataclass(frozen=True, slots=True)
class Seed:
    """Seed of a box that exchanges water with its air.

    ``grams`` is all of it as weighed, ``assumed_g`` the part that rests on a typical packet;
    ``changed_ms`` when much of it last came or went.
    """

    shares: tuple[SeedShare, ...]
    grams: float
    assumed_g: float
    changed_ms: int | None


@dataclass(frozen=True, slots=True)
class Desiccants:
    """What the journal says of desiccant, oldest first; ``unread`` are lines that made no sense."""

    charges: tuple[Charge, ...]
    weighings: tuple[Weighing, ...]
    unread: int


def desiccants(events: Iterable[Event], now_ms: int) -> Desiccants:
    """Read charges and weighings from a box's journal.

    Parameters
    ----------
    events : iterable of Event
        Events of the box in any order; struck ones are left out.
    now_ms : int
        Later ones are left out.
    """
    charges, weighings, unread = [], [], 0
    for event in sorted(events, key=lambda event: event.time_ms):
        if event.struck or event.time_ms > now_ms:
            continue
        data = dict(event.data)
        grams = _positive(data.get("grams"))
        if event.type is EventType.SWAP:
            name = data.get("desiccant") or "silica-gel"
            if grams is None or not _known(str(name)):
                unread += 1
            else:
                charges.append(_charge(find_desiccant(str(name)).key, grams, event.time_ms, data))
        elif event.type is EventType.WEIGHED and "dry_grams" in data:
            dry = _positive(data["dry_grams"])
            if grams is None or dry is None or grams < dry:
                unread += 1
            else:
                weighings.append(Weighing(event.time_ms, 100.0 * (grams / dry - 1.0)))
    return Desiccants(tuple(charges), tuple(weighings), unread)


def _charge(
    desiccant: str, grams: float, time_ms: int, data: Mapping[str, float | str | None]
) -> Charge:
    """A charge with what it held and when it was dried, as far as that is noted."""
    charge = Charge(desiccant, grams, time_ms)
    load, dried_ms = data.get("initial_load_pct"), data.get("regenerated_ms")
    if isinstance(load, (int, float)) and load >= 0:
        charge = replace(charge, initial_load_pct=float(load))
    if isinstance(dried_ms, (int, float)) and dried_ms <= time_ms:
        charge = replace(charge, regenerated_ms=int(dried_ms))
    return charge


def _positive(value: object) -> float | None:
    if isinstance(value, (int, float)) and value > 0:
        return float(value)
    return None


def _known(name: str) -> bool:
    try:
        find_desiccant(name)
    except UnknownNameError:
        return False
    return True


def box_seed(store: Store, box: str, now_ms: int, window_ms: int) -> Seed:
    """Add up the seed that lies in a box now and follows its air.

    Parameters
    ----------
    store : Store
        Where lots and stays are kept.
    box : str
        Slug.
    now_ms : int
        The moment.
    window_ms : int
        How far back comings and goings are looked at.
    """
    stays = [stay for stay in store.stays(box=box) if stay.from_ms <= now_ms]
    lots = {code: store.lot(code) for code in {stay.lot for stay in stays}}
    here = [stay for stay in stays if stay.to_ms is None or stay.to_ms > now_ms]
    shares: dict[float, float] = {}
    total = assumed = 0.0
    for stay in here:
        lot = lots[stay.lot]
        found = _kind_of(lot)
        if is_sealed(stay.wrap, found.size):
            continue
        grams, guessed = lot_grams(lot, found)
        tau = tau_days(stay.wrap.value, found.size, REFERENCE_TEMP_C)
        oil_free = 1.0 - found.oil_pct.value / 100.0
        shares[tau] = shares.get(tau, 0.0) + grams * DRY_SHARE * oil_free
        total += grams
        assumed += grams * guessed
    return Seed(
        tuple(SeedShare(grams, tau) for tau, grams in sorted(shares.items())),
        total,
        assumed,
        _great_change(stays, lots, total, (now_ms - window_ms, now_ms)),
    )


def _kind_of(lot: Lot) -> Kind:
    """Kind of a lot; one that the table no longer has weighs and holds like any other seed."""
    try:
        return kind(lot.kind)
    except UnknownNameError:
        return kind("other")


def lot_grams(lot: Lot, kind: Kind) -> tuple[float, bool]:
    """Weight of a lot, and whether it is only assumed: noted, by count, or a typical packet.

    Pellets weigh many times their seed: what was weighed says nothing of it.
    """
    if lot.grams is not None and not lot.pelleted:
        return lot.grams, False
    if lot.seeds is not None and kind.tsw_g is not None:
        return lot.seeds * kind.tsw_g.value / 1000.0, False
    return PACKET_G[kind.size], True


def _great_change(
    stays: Sequence[Stay], lots: Mapping[str, Lot], total: float, span: tuple[int, int]
) -> int | None:
    """Last day within the span on which much seed came or went."""
    moved: dict[int, float] = {}
    for stay in stays:
        grams, _ = lot_grams(lots[stay.lot], _kind_of(lots[stay.lot]))
        for time_ms in (stay.from_ms, stay.to_ms):
            if time_ms is not None and span[0] < time_ms <= span[1]:
                day = time_ms // 86_400_000
                moved[day] = moved.get(day, 0.0) + grams
    great = [day for day, grams in moved.items() if grams > GREAT_CHANGE * max(total, 1.0)]
    return (max(great) + 1) * 86_400_000 if great else None
