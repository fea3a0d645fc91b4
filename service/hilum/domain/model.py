@dataclass(frozen=True, slots=True)
class Lot:
    """Seed of one variety from one source and harvest.

    ``label_pct`` is the germination printed on the packet or measured first, on ``label_date``,
    with ``label_n`` seeds tested (``None``: unknown, taken as 400, the ISTA working sample).
    Before its first stay the lot lived at ``prior_temp_c`` and ``prior_rh_pct`` in its wrap.
    """
