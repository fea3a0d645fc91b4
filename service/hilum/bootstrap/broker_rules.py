"""Whether the broker's access rules let Hilum hear and say what it must.

What they do not allow is dropped by the broker without a word to anybody.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from hilum.config import Settings

READ, WRITE = "read", "write"
GIVES = {"read": {READ}, "write": {WRITE}, "readwrite": {READ, WRITE}, "deny": set[str]()}


@dataclass(frozen=True, slots=True)
class Grant:
    """A line of the rules: what may be done with topics that fit a filter."""

    access: str
    filter: str


def needs(settings: Settings) -> Iterator[tuple[Grant, str]]:
    """Give what Hilum must be allowed here, each with the line that allows it."""
    access = {"+/readings": "read", "+/status": "read"}
    access |= {"boxes/+/state": "write", "alerts/+": "write"}
    if settings.mqtt_workers:
        access["arrived"] = "readwrite"
    for tail, how in access.items():
        line = f"topic {how} hilum/+/{tail}"
        yield Grant(how, f"hilum/{settings.site}/{tail}"), line
    for source in settings.sources:
        topic = source.topic.replace("{sensor}", "+")
        yield Grant("read", topic), f"topic read {topic}"


def missing(text: str, settings: Settings) -> list[str]:
    """Give the lines that Hilum's name at the broker lacks.

    Parameters
    ----------
    text : str
        Content of the ``acl_file``; its form is that of mosquitto.conf(5).
    settings : Settings
        Name, site and sources.

    Returns
    -------
    list of str
        Empty when all is well.
    """
    grants = list(grants_of(text, settings.mqtt_user or "", settings.mqtt_client_id))
    return [line for need, line in needs(settings) if not allowed(grants, need)]


def grants_of(text: str, user: str, client_id: str) -> Iterator[Grant]:
    """What counts for a user: the first rules are for those without a name, patterns for all."""
    whose = ""
    for line in text.splitlines():
        word, _, rest = line.strip().partition(" ")
        rest = rest.strip()
        if word == "user":
            whose = rest
        elif word == "pattern" or (word == "topic" and whose == user):
            access, _, topic = rest.partition(" ")
            if access not in GIVES:
                access, topic = "readwrite", rest
            if word == "pattern":
                topic = topic.replace("%u", user).replace("%c", client_id)
            yield Grant(access, topic.strip())


def allowed(grants: Iterable[Grant], need: Grant) -> bool:
    """Whether all topics of a need are allowed, and none of them denied as a whole."""
    fitting = [grant.access for grant in grants if _covers(grant.filter, need.filter)]
    given = set[str]().union(*(GIVES[access] for access in fitting))
    return "deny" not in fitting and GIVES[need.access] <= given


def _covers(wide: str, narrow: str) -> bool:
    """Whether every topic that fits one filter fits another (MQTT 5, section 4.7)."""
    left, right = wide.split("/"), narrow.split("/")
    for place, level in enumerate(left):
        if level == "#":
            return True
        if place >= len(right) or level not in {"+", right[place]}:
            return False
    return len(left) == len(right)
