"""The settings table: a TOML file and ``HILUM_…`` variables, read once into one frozen record.

Order of precedence: command line, environment, file, default. A setting that is not in the table is
an error, so that a misspelt one does not pass unnoticed.
"""

import os
import re
import tomllib
from datetime import time
from pathlib import Path
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    SecretStr,
    ValidationError,
    model_validator,
)
from pydantic_settings import BaseSettings, PydanticBaseSettingsSource, SettingsConfigDict

from hilum.domain.errors import SettingsError

FILE_NAME = "hilum.toml"
DATABASE_NAME = "hilum.sqlite3"


def _time_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (ValueError, OSError, KeyError) as error:
        raise ValueError(f"“{name}” is no time zone; write it like Europe/Brussels") from error
    return name


TimeZone = Annotated[str, AfterValidator(_time_zone)]


def _public_url(text: str) -> str:
    bare = text.rstrip("/")
    if not re.fullmatch(r"https?://[^/\s?#]+", bare):
        raise ValueError(
            f"“{text}” is no address of pages; write it like https://seeds.example or "
            "http://192.168.1.20:8420, without anything behind"
        )
    return bare


PublicUrl = Annotated[str, AfterValidator(_public_url)]


class QuantitySetting(BaseModel):
    """Where a source's payload holds one quantity, and in which unit."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    unit: str = Field(description="degC, degF or K for temperature; % or fraction for humidity")
    pointer: str | None = Field(
        default=None, description="JSON Pointer (RFC 6901) to the value; none: the payload itself"
    )


class SourceSetting(BaseModel):
    """How to read a device that does not speak Hilum's own messages."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    topic: str = Field(description="topic filter; the + that names the sensor is written {sensor}")
    temperature: QuantitySetting | None = Field(default=None, description="where temperature is")
    humidity: QuantitySetting | None = Field(default=None, description="where humidity is")
    battery: QuantitySetting | None = Field(default=None, description="where the battery is")
    time_pointer: str | None = Field(default=None, description="JSON Pointer to the time")


class ChannelSettings(BaseModel):
    """How alerts reach people, besides the pages and the broker."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    mail_host: str | None = Field(default=None, description="mail server; none: no mail")
    mail_port: int = Field(default=587, ge=1, le=65535, description="its port")
    mail_tls: Literal["starttls", "tls"] = Field(
        default="starttls",
        description="starttls (usually port 587) or tls from the start (usually port 465)",
    )
    mail_user: str | None = Field(default=None, description="name to sign in with")
    mail_password: SecretStr | None = Field(default=None, description="its password")
    mail_from: str = Field(default="", description="address mail comes from")
    mail_to: tuple[str, ...] = Field(default=(), description="addresses mail goes to")
    webhook_url: SecretStr | None = Field(
        default=None, description="https address that gets every alert as JSON"
    )
    webhook_secret: SecretStr | None = Field(
        default=None, description="secret the webhook is signed with (HMAC-SHA256)"
    )
    webhook_allow_private: bool = Field(
        default=False, description="let the webhook lead into a private network"
    )
    push_urls: tuple[SecretStr, ...] = Field(
        default=(), description="push services, as the library apprise writes them (extra push)"
    )
    ca_file: Path | None = Field(
        default=None, description="certificates of your own for mail server and webhook"
    )
    quiet_from: time = Field(
        default=time(22),
        description="from when on what can wait is held back; local time; set on the pages, that "
        "holds, as for the four below",
    )
    quiet_to: time = Field(
        default=time(7), description="until when; the same as quiet_from: no quiet hours"
    )
    digest: bool = Field(default=True, description="tell every week how all boxes are")
    digest_day: Literal[
        "monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"
    ] = Field(default="sunday", description="day of the digest")
    digest_hour: int = Field(default=9, ge=0, le=23, description="its hour; local time")

    @model_validator(mode="after")
    def _mail_is_whole(self) -> Self:
        if self.mail_host and not (self.mail_from and self.mail_to):
            raise ValueError("mail_host needs mail_from and mail_to beside it")
        return self


class Settings(BaseSettings):
    """Everything that can be set. Passwords hide themselves when printed."""

    model_config = SettingsConfigDict(
        env_prefix="HILUM_", env_nested_delimiter="__", frozen=True, extra="forbid"
    )

    data_dir: Path = Field(description="folder of the database and of this file")
    site: str = Field(
        default="home",
        pattern=r"^[a-z0-9][a-z0-9-]{0,62}$",
        description="name of this place; second level of every topic",
    )
    host: str = Field(default="127.0.0.1", description="address the pages are served on")
    port: int = Field(default=8420, ge=0, le=65535, description="port the pages are served on")
    allowed_hosts: tuple[str, ...] = Field(
        default=(), description="further names the pages are reached under, such as seeds.example"
    )
    trusted_proxies: tuple[str, ...] = Field(
        default=(), description="addresses of proxies whose word on address and TLS is taken"
    )
    public_url: PublicUrl | None = Field(
        default=None,
        description="how others reach the pages, such as https://seeds.example; for links, and for "
        "the codes on labels",
    )
    time_zone: TimeZone = Field(default="UTC", description="for times on pages and in files")
    temperature_unit: Literal["C", "F"] = Field(default="C", description="unit on pages")
    mqtt: bool = Field(default=True, description="listen to the MQTT broker")
    mqtt_host: str = Field(default="127.0.0.1", description="address of the broker")
    mqtt_port: int = Field(default=1883, ge=1, le=65535, description="port of the broker")
    mqtt_version: Literal["5", "3.1.1"] = Field(
        default="5", description="version of MQTT the broker speaks"
    )
    mqtt_user: str | None = Field(default=None, description="name Hilum signs in with")
    mqtt_password: SecretStr | None = Field(default=None, description="its password")
    mqtt_client_id: str = Field(
        default="hilum", description="stable name of Hilum's session at the broker"
    )
    mqtt_session_days: int = Field(
        default=30, ge=1, le=365, description="days the broker keeps messages while Hilum is away"
    )
    mqtt_tls: bool = Field(default=False, description="encrypt the connection to the broker")
    mqtt_ca_file: Path | None = Field(default=None, description="certificate the broker must match")
    mqtt_cert_file: Path | None = Field(default=None, description="Hilum's own certificate")
    mqtt_key_file: Path | None = Field(default=None, description="key of that certificate")
    mqtt_workers: bool = Field(
        default=False,
        description="hilum ingest stores readings, in InfluxDB; hilum serve only hears of them",
    )
    mqtt_group: str = Field(
        default="hilum",
        pattern=r"^[^/+#]+$",
        description="name under which these workers share what sensors say",
    )
    mqtt_broker_conf: Path | None = Field(
        default=None, description="the broker's mosquitto.conf, for hilum check to look at"
    )
    influx_url: str | None = Field(
        default=None,
        pattern=r"^https?://[^\s@]+$",
        description="address of an InfluxDB for readings (extra influx); none: all is in SQLite",
    )
    influx_org: str = Field(default="", description="its organisation")
    influx_bucket: str = Field(
        default="hilum", min_length=1, description="its bucket, which must keep data for ever"
    )
    influx_token: SecretStr | None = Field(
        default=None, description="token that may read and write that bucket"
    )
    max_new_sensors: int = Field(
        default=2000, ge=1, description="unknown sensors taken in before further ones are refused"
    )
    sources: tuple[SourceSetting, ...] = Field(
        default=(), description="other devices and where their values stand"
    )
    channels: ChannelSettings = Field(
        default_factory=ChannelSettings, description="mail, webhook and push for alerts"
    )

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,
        dotenv_settings: PydanticBaseSettingsSource,
        file_secret_settings: PydanticBaseSettingsSource,
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        """Let the environment win over what the file says."""
        del settings_cls, dotenv_settings, file_secret_settings
        return env_settings, init_settings

    @model_validator(mode="after")
    def _workers_have_a_store(self) -> Self:
        if self.mqtt_workers and self.influx_url is None:
            raise ValueError("mqtt_workers needs influx_url: workers store readings there")
        return self

    @property
    def database(self) -> Path:
        """File of the database."""
        return self.data_dir / DATABASE_NAME

    def changed(self, **values: Any) -> "Settings":  # noqa: ANN401 - checked by the model
        """Give a copy with some settings changed, checked like the rest; they win over all else."""
        given = {name: getattr(self, name) for name in type(self).model_fields}
        try:
            return _Decided(**{**given, **values})
        except ValidationError as error:
            raise SettingsError(_in_words(error, self.data_dir / FILE_NAME)) from error


class _Decided(Settings):
    """Settings that the environment no longer changes."""

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,
        dotenv_settings: PydanticBaseSettingsSource,
        file_secret_settings: PydanticBaseSettingsSource,
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        del settings_cls, env_settings, dotenv_settings, file_secret_settings
        return (init_settings,)


def default_data_dir() -> Path:
    """Folder used when none is named: ``$HILUM_DATA_DIR`` or the user's data folder."""
    named = os.environ.get("HILUM_DATA_DIR")
    if named:
        return Path(named)
    base = os.environ.get("XDG_DATA_HOME")
    return (Path(base) if base else Path.home() / ".local" / "share") / "hilum"


def load_settings(data_dir: Path | None = None) -> Settings:
    """Read the settings of a data folder.

    Parameters
    ----------
    data_dir : Path, optional
        Folder that holds ``hilum.toml`` (which may be absent).

    Returns
    -------
    Settings
        All settings, checked.

    Raises
    ------
    SettingsError
        The file is no TOML, or a setting is unknown or has a value that cannot be used.
    """
    folder = data_dir or default_data_dir()
    path = folder / FILE_NAME
    values: dict[str, Any] = {}
    if path.is_file():
        try:
            values = tomllib.loads(path.read_text(encoding="utf-8"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise SettingsError(f"{path} cannot be read: {error}") from error
    return settings_from(values, folder)


def settings_from(values: dict[str, Any], data_dir: Path) -> Settings:
    """Check values by name of setting; raises ``SettingsError`` in words."""
    try:
        found = Settings(**{**values, "data_dir": data_dir})
        # which folder was decided before its file was read: a --data-dir wins over HILUM_DATA_DIR
        return found.model_copy(update={"data_dir": data_dir})
    except ValidationError as error:
        raise SettingsError(_in_words(error, data_dir / FILE_NAME)) from error


def _in_words(error: ValidationError, path: Path) -> str:
    lines = []
    for problem in error.errors():
        name = ".".join(str(part) for part in problem["loc"])
        if problem["type"] == "extra_forbidden":
            lines.append(f"There is no setting called “{name}”.")
        else:
            message = problem["msg"].removeprefix("Value error, ")
            lines.append(f"The setting “{name}” cannot be used: {message}.")
    return " ".join([*lines, f"(Settings come from {path} and from HILUM_ variables.)"])
