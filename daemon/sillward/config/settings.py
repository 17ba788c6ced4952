"""The *settings* from the environment: paths, forecast sources, secrets, heartbeat, log.

An option on the command line beats the environment, and that beats the default. What the grower
writes about plants and channels is in the collection file (`models`).
"""

import ipaddress
import os
import re
from pathlib import Path
from typing import Annotated, Any, Literal, Self
from urllib.parse import urlsplit

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    SecretStr,
    ValidationError,
    WithJsonSchema,
    model_validator,
)
from pydantic_settings import BaseSettings, SettingsConfigDict

from sillward.config.credentials import read_credential
from sillward.errors import ConfigError
from sillward.forecast import ensemble, geocoding, sources
from sillward.ledger.address import LedgerAddress, PostgresAddress

PREFIX = "SILLWARD_"

LEDGER_CREDENTIAL = "ledger-url"
"""The credential file with the address of a ledger on a server, which holds a password."""


def _web_address(text: str) -> str:
    if not re.match(r"https?://[^\s/]+", text):
        msg = "must start with http:// or https:// and name a server"
        raise ValueError(msg)
    return text


def _source_list(text: str) -> str:
    names = [name.strip() for name in text.split(",")]
    for name in names:
        if name not in sources.known():
            known = ", ".join(sources.known())
            msg = f"must name sources of forecasts, with commas between (known: {known})"
            raise ValueError(msg)
    if len(set(names)) < len(names):
        msg = "names a source twice"
        raise ValueError(msg)
    return ",".join(names)


WebAddress = Annotated[str, AfterValidator(_web_address)]


class ForecastSettings(BaseModel):
    """Where forecasts come from."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    source: Annotated[str, AfterValidator(_source_list)] = "open-meteo"
    """One source, or several with commas between: the next is asked when those before it fail."""
    base_url: WebAddress | None = None
    """Another server for the first source."""
    base_urls: dict[str, WebAddress] = {}
    """Another server for any of them, by its name; open-meteo-ensemble for the members,
    open-meteo-geocoding for the names of places."""
    api_key: SecretStr | None = None
    """Open-Meteo's. Also from a credential file named forecast-api-key."""
    contact: str | None = None
    """A mail address or web page by which a provider can reach the person who runs this."""
    second_opinion: Annotated[float, Field(ge=0.5, le=10)] | None = None
    """Ask a second source too; where the two are further apart [K], the colder counts."""
    ensemble: bool = True
    """Whether to ask Open-Meteo for the members of an ensemble, twice a day."""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        servers = {*sources.known(), ensemble.KEY, geocoding.KEY}
        for name in self.base_urls:
            if name.replace("_", "-") not in servers:
                known = ", ".join(sorted(servers))
                msg = f"base_urls: does not name a source of forecasts (known: {known})"
                raise ValueError(msg)
        if self.second_opinion is not None and len(self.sources) < 2:
            msg = 'second_opinion needs two sources, such as source "open-meteo,met-norway"'
            raise ValueError(msg)
        return self

    @property
    def sources(self) -> tuple[str, ...]:
        """The names of the sources, in the order in which they are asked."""
        return tuple(self.source.split(","))

    def server(self, name: str) -> str | None:
        """Return another server for a source; None for the provider's own."""
        given = {source.replace("_", "-"): url for source, url in self.base_urls.items()}
        return given.get(name, self.base_url if name == self.sources[0] else None)


def _secret_address(secret: SecretStr) -> SecretStr:
    _web_address(secret.get_secret_value())
    return secret


SecretAddress = Annotated[SecretStr, AfterValidator(_secret_address)]


class HeartbeatSettings(BaseModel):
    """Web addresses that tell a monitor outside that the service still runs."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    url: SecretAddress | None = None
    """Called after good work. Also from a credential file named heartbeat-url."""
    trouble_url: SecretAddress | None = None
    """Called instead while there is trouble; without it silence is the signal. Also from a
    credential file named heartbeat-trouble-url."""
    every: Annotated[float, Field(ge=1, le=1440)] = 15
    """Minutes between calls. Judgement: three missed ones are still within the hour."""


class MqttSettings(BaseModel):
    """What the collection does not say of the broker of the sensors."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    password: SecretStr | None = None
    """For the user of [mqtt]. Also from a credential file named mqtt-password."""


def _listen_address(text: str) -> str:
    """Take no name but localhost: the daemon waits for no answer about another."""
    host, _, port = text.rpartition(":")
    is_port = bool(re.fullmatch(r"[0-9]{1,5}", port)) and 0 < int(port) < 65536
    if not is_port or not (host == "localhost" or _is_address(host)):
        msg = 'must be an address and a port, such as "127.0.0.1:8123" or "[::1]:8123"'
        raise ValueError(msg)
    return text


def _is_address(host: str) -> bool:
    """Whether this is an address as it stands before a port: IPv6 in brackets."""
    bare = host.removeprefix("[").removesuffix("]")
    try:
        version = ipaddress.ip_address(bare).version
    except ValueError:
        return False
    return (version == 6) == (host == f"[{bare}]")


def is_loopback(host: str) -> bool:
    """Whether a name or address means this machine itself, and can mean nothing else."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _host_names(text: str) -> str:
    for name in filter(None, (part.strip() for part in text.split(","))):
        if not re.fullmatch(r"[\w.-]+|\[[0-9A-Fa-f:.]+\]", name, re.ASCII):
            msg = "must be names of hosts with commas between, without ports"
            raise ValueError(msg)
    return text


def _proxy_address(text: str) -> str:
    try:
        return str(ipaddress.ip_address(text))
    except ValueError:
        msg = "must be the address of one machine, such as 127.0.0.1"
        raise ValueError(msg) from None


def _splittable(address: str) -> str:
    urlsplit(address)
    return address


def _host_port(address: str | None) -> tuple[str, int] | None:
    if address is None:
        return None
    host, _, port = address.rpartition(":")
    return host.strip("[]"), int(port)


class MetricsSettings(BaseModel):
    """What the operator of many households may watch."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    address: Annotated[str, AfterValidator(_listen_address)] | None = None
    """Where `run` serves its metrics, such as 127.0.0.1:9123; None for nowhere. They name nobody,
    but anybody who reaches that address can read them."""

    @property
    def host_port(self) -> tuple[str, int] | None:
        """Where to listen, or None."""
        return _host_port(self.address)


class PageSettings(BaseModel):
    """The page on which a grower answers."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    address: Annotated[str, AfterValidator(_listen_address)] | None = None
    """Where `run` serves the page, such as 127.0.0.1:8123; None for nowhere. Any other address than
    this machine's own needs a passphrase."""
    url: Annotated[WebAddress, AfterValidator(_splittable)] | None = None
    """What the page is called by from a phone, such as https://plants.example: links in messages
    begin with it. Without it messages carry no links."""
    hosts: Annotated[str, AfterValidator(_host_names)] = ""
    """Further names by which the page may be called, with commas between."""
    proxy: Annotated[str, AfterValidator(_proxy_address)] | None = None
    """The address of a web server that passes requests on; what it says of them is believed."""

    @property
    def host_port(self) -> tuple[str, int] | None:
        """Where to listen, or None."""
        return _host_port(self.address)

    @property
    def link_base(self) -> str | None:
        """What links in messages begin with, without a slash at its end; None for no links."""
        return None if self.url is None or self.address is None else self.url.rstrip("/")

    @property
    def host_names(self) -> tuple[str, ...]:
        """The further names, one by one."""
        return tuple(name.strip().lower() for name in self.hosts.split(",") if name.strip())

    @property
    def beyond_loopback(self) -> bool:
        """Whether others than this machine may reach the page: through its address, or through a
        web server before it, which a name or a proxy shows."""
        called = [self.host_port[0]] if self.host_port else []
        if self.url is not None:
            called.append(urlsplit(self.url).hostname or "")
        hosts = [*called, *(name.strip("[]") for name in self.host_names)]
        return self.proxy is not None or not all(map(is_loopback, hosts))


HOUSEHOLDS = "households"
"""The folder in the state folder where the ledgers of many households are."""


def _state_folder() -> Path:
    return Path(os.environ.get("STATE_DIRECTORY", "~/.local/state/sillward"))


def _usual_ledger() -> Path:
    return _state_folder() / "ledger.sqlite3"


def _ledger_address(value: object) -> object:
    """Take an address of a server as one; anything else is a path. Raise ValueError for another
    address: as a path it would be shown, and made, with the password in it."""
    if isinstance(value, str) and PostgresAddress.is_anothers(value):
        msg = "must be a path, or begin with postgresql://"
        raise ValueError(msg)
    is_server = isinstance(value, str) and PostgresAddress.is_one(value)
    return PostgresAddress(str(value)) if is_server else value


class Settings(BaseSettings):
    """All settings. `SILLWARD_FORECAST__BASE_URL` sets forecast.base_url, and so on."""

    model_config = SettingsConfigDict(
        env_prefix=PREFIX,
        env_nested_delimiter="__",
        extra="forbid",
        frozen=True,
        hide_input_in_errors=True,
        arbitrary_types_allowed=True,
    )

    collection: Path = Path("~/.config/sillward/collection.toml")
    collections: Path | None = None
    """A folder of households, in place of one collection; see `config.households`."""
    plants_per_household: Annotated[int, Field(ge=1, le=50_000)] = 2000
    """The most plants of one of them. Judgement: a round of so many takes a second of the time that
    all share (measured), and no amateur has them. For one of 50,000, the most that a collection can
    have, all others would wait half a minute."""
    ledger: Annotated[
        LedgerAddress,
        BeforeValidator(_ledger_address),
        WithJsonSchema({"type": "string", "format": "path"}),
    ] = Field(default_factory=_usual_ledger)
    """The SQLite file, or a database on a PostgreSQL server. An address of a server also from a
    credential file named ledger-url. For a folder of households the folder of their files."""
    forecast: ForecastSettings = ForecastSettings()
    channels: dict[str, SecretStr] = {}
    """Channel URLs by channel name, for channels whose collection entry gives none."""
    heartbeat: HeartbeatSettings = HeartbeatSettings()
    mqtt: MqttSettings = MqttSettings()
    page: PageSettings = PageSettings()
    metrics: MetricsSettings = MetricsSettings()
    last_word: SecretStr | None = None
    """The channel URL that is told when the service has stopped, in place of all others. Also from
    a credential file named last-word."""
    credentials: Path | None = Field(
        default_factory=lambda: (
            Path(os.environ["CREDENTIALS_DIRECTORY"])
            if "CREDENTIALS_DIRECTORY" in os.environ
            else None
        )
    )
    """Folder with secrets: channel-NAME holds the URL of the channel NAME."""
    calendar: Path | None = None
    """The iCalendar file that `run` keeps up to date; None for none."""
    log_level: Literal["DEBUG", "INFO", "WARNING", "ERROR"] = "INFO"
    service: str | None = None
    """The service of systemd that looks after the plants, so that what is to be done next can be
    told in commands for it; the Debian package sets it. None if that is not known."""

    @property
    def ledger_file(self) -> Path:
        """The path beside which keys and photos are: that of the ledger, or the usual one if the
        ledger is on a server."""
        if isinstance(self.ledger, PostgresAddress):
            return _expanded("ledger", _usual_ledger())
        return self.ledger

    @property
    def has_ledger(self) -> bool:
        """Whether anything may have been written down yet."""
        if isinstance(self.ledger, PostgresAddress):
            return True
        try:
            return self.ledger.exists()
        except OSError:
            return False


def load_settings() -> Settings:
    """Read the settings. Raise ConfigError with a line for each wrong one, without its value."""
    try:
        settings = Settings()
    except ValidationError as error:
        raise ConfigError(
            [_in_words(detail) for detail in error.errors(include_url=False, include_input=False)]
        ) from None
    except ValueError as error:  # a value that should have been JSON
        named = [name for name in Settings.model_fields if f'"{name}"' in str(error)]
        variable = f"{PREFIX}{named[0].upper()}" if named else f"{PREFIX}*"
        text = f"{variable}: cannot be read; set its parts one by one, as {variable}__NAME"
        raise ConfigError([text]) from None
    paths: dict[str, Path | PostgresAddress] = {
        name: _expanded(name, getattr(settings, name))
        for name in ("collection", "collections", "ledger", "credentials", "calendar")
        if isinstance(getattr(settings, name), Path)
    }
    is_given = "ledger" in settings.model_fields_set
    settings = settings.model_copy(update=paths)
    return settings if is_given else settings.model_copy(update=_ledger_not_named(settings))


def _ledger_not_named(settings: Settings) -> dict[str, Path | PostgresAddress]:
    """Return where the ledger is if the environment does not say: on the server of the credential
    file; else, for a folder of households, in a folder of its own.

    Raise ConfigError for a credential that is no address of a server, without showing it.
    """
    found = read_credential(settings.credentials, LEDGER_CREDENTIAL)
    if found is None and settings.collections is not None:
        return {"ledger": _expanded("ledger", _state_folder() / HOUSEHOLDS)}
    if found is None:
        return {}
    if not PostgresAddress.is_one(found.get_secret_value()):
        msg = f"credential {LEDGER_CREDENTIAL}: must begin with postgresql://"
        raise ConfigError([msg])
    return {"ledger": PostgresAddress(found.get_secret_value())}


def _in_words(error: Any) -> str:
    variable = "__".join(str(part) for part in error["loc"]).upper()
    text: str = error["msg"]
    text = text.removeprefix("Value error, ")
    return f"{PREFIX}{variable}: {text[:1].lower()}{text[1:]}"


def _expanded(name: str, path: Path) -> Path:
    try:
        return path.expanduser()
    except RuntimeError as error:
        msg = f"{PREFIX}{name.upper()}: {path}: {error}"
        raise ConfigError([msg]) from None


def heartbeat_addresses(settings: Settings) -> tuple[SecretStr | None, SecretStr | None]:
    """Return the addresses to call when all is well and when it is not; None for no call.

    Raise ConfigError for a credential that is not a web address.
    """
    found: list[SecretStr | None] = []
    for name in ("url", "trouble_url"):
        file = f"heartbeat-{name.replace('_', '-')}"
        address = getattr(settings.heartbeat, name) or read_credential(settings.credentials, file)
        try:
            found.append(None if address is None else _secret_address(address))
        except ValueError as error:
            raise ConfigError([f"credential {file}: {error}"]) from None
    return found[0], found[1]


def unknown_variables() -> list[str]:
    """Return environment variables with our prefix that set nothing: mostly typing errors."""
    known = {f"{PREFIX}{name}".upper() for name in Settings.model_fields}
    return sorted(
        name
        for name in os.environ
        if name.upper().startswith(PREFIX) and name.upper().split("__")[0] not in known
    )
