"""Words for what was done to seed before it was packed: treated, pelleted, primed.

The words of five languages are recalled (status: memory).
"""

import re
from collections.abc import Mapping

from hilum.domain.model import PREPARED
from hilum.sheets.headings import plain

_WORDS = {
    "treated": "treated|dressed|dyed|fungicide|insecticide|gebeizt|beizung|beize|behandelt|traite|"
    "traitee|traites|traitees|behandeld|ontsmet|tratada|tratado|tratadas",
    "pelleted": "pellet|pellets|pelleted|pelletised|pelletized|pilliert|pillen|pillensaat|pille|"
    "enrobe|enrobee|enrobes|enrobees|gepilleerd|gepilleerde|pillenzaad|peletizada|peletizado|"
    "peletizadas|pildora|pildoras|pelleting|pillierung|enrobage",
    "primed": "primed|priming|osmoprimed|hydroprimed|geprimt|geprimed|amorcee|amorcees",
}
_TREATMENT = "treatment|behandlung|saatgutbehandlung|traitement|behandeling|tratamiento"
_DENIED = (
    rf"\b(not|no|without|nicht|ohne|non|pas|sans|niet|zonder|sin) ({'|'.join(_WORDS.values())})\b"
)
_NONE = (
    "untreated|raw|natural|naked|bare|none|no|unbehandelt|ungebeizt|normalsaat|normal|nackt|keine|"
    "nein|nue|nu|aucun|aucune|non|onbehandeld|naakt|geen|nee|sin tratar|desnuda|ninguno|ninguna"
)
_YES = "yes|y|x|true|1|ja|j|oui|o|si|s"


def prepared_of(words: str, heading: str) -> Mapping[str, bool] | None:
    """Say what was done to seed, by field of the lot.

    Parameters
    ----------
    words : str
        What stands in the cell. “Yes” or “no” answer what the heading asks.
    heading : str
        What stands above it.

    Returns
    -------
    mapping or None
        ``None``: it cannot be told from these words. Fields that are not spoken of are left out,
        but for words that deny everything.
    """
    said = plain(words)
    asked = [name for name in PREPARED if _has(plain(heading), _WORDS[name])]
    if re.fullmatch(_YES, said):
        sure = asked or ["treated"] * _has(plain(heading), _TREATMENT)
        return {sure[0]: True} if len(sure) == 1 else None
    rest = re.sub(rf"{_DENIED}|\b({_NONE})\b", " ", said)
    if rest != said and not rest.strip():
        return dict.fromkeys(asked or PREPARED, False)
    found = [name for name in PREPARED if _has(rest, _WORDS[name])]
    return dict.fromkeys(found, True) if found else None


def _has(text: str, words: str) -> bool:
    return bool(re.search(rf"\b({words})\b", text))
