"""The servers that may be asked, built from the settings.

No server is asked that the grower has not chosen: where a source of the forecast is one, the public
servers that belong to it may be asked too; a grower with a forecast server of their own need not
have one for the rest, and then the rest is not asked for.
"""

from sillward.config.credentials import read_credential
from sillward.config.settings import Settings
from sillward.errors import ConfigError
from sillward.forecast import ensemble, geocoding, sources
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.source import Source, SourceOptions
from sillward.forecast.sources import open_meteo


def forecast_sources(settings: Settings) -> tuple[Source, ...]:
    """Build the sources in the grower's order. Raise ConfigError for one that cannot be."""
    return tuple(_forecast_source(settings, name) for name in settings.forecast.sources)


def _forecast_source(settings: Settings, name: str) -> Source:
    try:
        return sources.known()[name](setup_of(settings, name))
    except ValueError as error:
        msg = f"{name}: {error}"
        raise ConfigError([msg]) from None


def forecast_ensemble(settings: Settings) -> Ensemble | None:
    """Build the ensemble that gives chances, or return None if no server may be asked for it."""
    if not settings.forecast.ensemble or not _may_ask(settings, ensemble.KEY):
        return None
    return ensemble.build(setup_of(settings, ensemble.KEY))


def all_asked(settings: Settings) -> list[Source | Ensemble]:
    """Build all that is asked for forecasts. Raise ConfigError for a source that cannot be."""
    members = forecast_ensemble(settings)
    return [*forecast_sources(settings), *([] if members is None else [members])]


def atlas(settings: Settings) -> geocoding.Atlas:
    """Build what a first run asks about places: their names, and their heights."""
    forecast = settings.forecast
    names = (
        SourceOptions(forecast.server(geocoding.KEY)) if _may_ask(settings, geocoding.KEY) else None
    )
    chosen = open_meteo.KEY in forecast.sources
    return geocoding.Atlas(names, setup_of(settings, open_meteo.KEY) if chosen else None)


def _may_ask(settings: Settings, service: str) -> bool:
    """Whether a service of Open-Meteo other than the forecast may be asked."""
    forecast = settings.forecast
    uses_public_server = (
        open_meteo.KEY in forecast.sources and forecast.server(open_meteo.KEY) is None
    )
    return uses_public_server or forecast.server(service) is not None


def setup_of(settings: Settings, name: str) -> SourceOptions:
    """Return how to ask a source: its server, the key and whom it may write to."""
    forecast = settings.forecast
    key = forecast.api_key or read_credential(settings.credentials, "forecast-api-key")
    return SourceOptions(forecast.server(name), key, forecast.contact)
