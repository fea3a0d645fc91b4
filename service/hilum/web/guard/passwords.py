"""The owner's password: hashed with Argon2id (RFC 9106), and whether a new one can be guessed."""

import unicodedata

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from hilum.domain.errors import InvalidInputError

SHORTEST, LONGEST = 12, 200
SAFE = 3
"""Of zxcvbn's scale from 0 to 4: "safely unguessable" for a slow hash (its documentation)."""

_NOBODYS = (
    "$argon2id$v=19$m=65536,t=3,p=4$TGpbohS+8K7ubcL9zl8s5"
    "w$0ECSVM5gMlkCl3WViDg+2nF6WvApxtG3/I4up736adY"
)
"""Of a random text nobody kept. Stands in while there is no password: answers take as long."""


def check_new(password: str, own_words: tuple[str, ...] = ()) -> None:
    """Refuse a password that can be guessed.

    Raises
    ------
    InvalidInputError
        It is too short, too long, or one of the first that anybody would try.
    """
    from zxcvbn import zxcvbn  # noqa: PLC0415 - its lists are large and seldom needed

    if len(password) < SHORTEST:
        raise InvalidInputError(f"Use {SHORTEST} characters or more; a few words do.", "password")
    if len(password) > LONGEST or password != password.strip():
        raise InvalidInputError(
            f"Use at most {LONGEST} characters, without a blank at either end.", "password"
        )
    found = zxcvbn(password[:72], user_inputs=["hilum", "seed", *own_words])
    if found["score"] < SAFE:
        raise InvalidInputError(
            "That would be guessed: add another word or two, ones that do not belong together.",
            "password",
        )


def _same(password: str) -> str:
    """Give one spelling of letters that devices send in several (NIST SP 800-63B, 5.1.1.2)."""
    return unicodedata.normalize("NFKC", password)


def hash_of(password: str) -> str:
    """Give what is kept of a password."""
    return PasswordHasher().hash(_same(password))


def verify(kept: str, password: str) -> bool:
    """Tell whether a password is the one whose hash is kept; one verification, whatever comes."""
    try:
        right = PasswordHasher().verify(kept or _NOBODYS, _same(password))
    except (VerificationError, InvalidHashError):
        return False
    return right and bool(kept)
