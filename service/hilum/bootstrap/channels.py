"""Picks the channels that the settings ask for."""

from collections.abc import Sequence
from dataclasses import dataclass

from hilum.config import Settings
from hilum.domain.alerts import DigestTime, QuietTimes, Telling
from hilum.domain.errors import NotFoundError
from hilum.domain.ports import Clock
from hilum.keeping.watching.telling import ChannelPlan
from hilum.keeping.watching.tellingtimes import DAYS
from hilum.notify.broker import BrokerPublisher, PublisherSettings
from hilum.notify.channel import Channel, Message
from hilum.notify.mail import MailChannel, MailSettings
from hilum.notify.mqtt import MqttChannel
from hilum.notify.push import PushChannel

WEBHOOK = "webhook"
WEEKDAYS = tuple(day.lower() for day in DAYS)


@dataclass(frozen=True, slots=True)
class Way:
    """A channel, and what it is told."""

    plan: ChannelPlan
    channel: Channel


def telling_of(settings: Settings) -> Telling:
    """When people are told, as the settings say."""
    channels = settings.channels
    weekday = WEEKDAYS.index(channels.digest_day)
    return Telling(
        QuietTimes(channels.quiet_from, channels.quiet_to),
        DigestTime(channels.digest, weekday, channels.digest_hour),
    )


def publisher(settings: Settings) -> BrokerPublisher | None:
    """Make the connection on which alerts are published; ``None`` if the broker is off."""
    if not settings.mqtt:
        return None
    password = settings.mqtt_password
    return BrokerPublisher(
        PublisherSettings(
            host=settings.mqtt_host,
            port=settings.mqtt_port,
            username=settings.mqtt_user,
            password=password.get_secret_value() if password else None,
            client_id=f"{settings.mqtt_client_id}-alerts",
            version=settings.mqtt_version,
            tls=settings.mqtt_tls,
            ca_file=settings.mqtt_ca_file,
            cert_file=settings.mqtt_cert_file,
            key_file=settings.mqtt_key_file,
        )
    )


def ways_to_people(settings: Settings, clock: Clock) -> list[Way]:
    """Channels of the settings, without the broker.

    Raises
    ------
    SettingsError
        An address cannot be used.
    """
    channels = settings.channels
    found: list[Channel] = []
    if channels.webhook_url is not None:
        found.append(_webhook(channels.webhook_url.get_secret_value(), settings, clock))
    found += [_mail(settings, clock, to) for to in channels.mail_to if channels.mail_host]
    for number, url in enumerate(channels.push_urls, 1):
        found.append(PushChannel(url.get_secret_value(), f"push-{number}"))
    return [_way(channel) for channel in found]


def _webhook(url: str, settings: Settings, clock: Clock) -> Channel:
    """The webhook; its library is loaded only where one is set."""
    from hilum.notify.webhook import WebhookChannel, WebhookSettings  # noqa: PLC0415

    channels = settings.channels
    secret = channels.webhook_secret
    webhook = WebhookSettings(
        url=url,
        secret=secret.get_secret_value() if secret else None,
        allow_private=channels.webhook_allow_private,
        ca_file=channels.ca_file,
    )
    return WebhookChannel(webhook, clock.now_ms)


def _mail(settings: Settings, clock: Clock, to: str) -> MailChannel:
    """Mail to one address; each has its own, so that one that is refused keeps back no other."""
    channels = settings.channels
    password = channels.mail_password
    mail = MailSettings(
        host=channels.mail_host or "",
        to=to,
        sender=channels.mail_from,
        port=channels.mail_port,
        user=channels.mail_user,
        password=password.get_secret_value() if password else None,
        tls=channels.mail_tls,
        site=settings.site,
        ca_file=channels.ca_file,
    )
    return MailChannel(mail, clock.now_ms, f"mail:{to}")


def mqtt_way(channel: MqttChannel) -> Way:
    """Alerts on the broker: every step, at once, and no digest."""
    return Way(ChannelPlan(channel.name, machine=True, digest=False), channel)


def _way(channel: Channel) -> Way:
    return Way(ChannelPlan(channel.name, machine=channel.name == WEBHOOK), channel)


def plans_of(settings: Settings, clock: Clock) -> tuple[ChannelPlan, ...]:
    """What each channel of the settings is told, the broker first."""
    ways = ways_to_people(settings, clock)
    if settings.mqtt:
        ways.insert(0, mqtt_way(MqttChannel(_nowhere, settings.site)))
    return tuple(way.plan for way in ways)


def _nowhere(topic: str, payload: bytes) -> None:
    """Publish nothing: stands where only names are asked for."""
    del topic, payload


def send_test(settings: Settings, clock: Clock, name: str) -> None:
    """Send a test message on one channel, at once.

    Raises
    ------
    NotFoundError
        No channel of the settings has this name.
    ChannelError
        It was not taken, with the reason.
    """
    link = publisher(settings)
    ways = ways_to_people(settings, clock)
    if link is not None:
        ways.append(mqtt_way(MqttChannel(link.publish, settings.site)))
    try:
        for way in ways:
            if way.plan.name == name:
                way.channel.send(_test_message(settings.site, clock.now_ms()))
                return
    finally:
        if link is not None:
            link.close()
    raise NotFoundError(f"There is no channel “{name}”; there are: {', '.join(names(ways))}.")


def names(ways: Sequence[Way]) -> list[str]:
    """Names of channels."""
    return [way.plan.name for way in ways]


def _test_message(site: str, now_ms: int) -> Message:
    text = f"This is a test from Hilum ({site}). If you read it, alerts will reach you here."
    return Message(f"test.{now_ms}", "test", "Test from Hilum", text, (("text", text),))
