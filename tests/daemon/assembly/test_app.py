"""The composition root: which forecast is used, which moment, and which secrets."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from sillward.assembly import read_only
from sillward.assembly.app import App, Options, build, parse_at
from sillward.assembly.examples import examples
from sillward.errors import ConfigError, SourceError, UsageError
from sillward.forecast.sources.open_meteo import OpenMeteo
from sillward.ledger import Ledger, SavedForecast
from sillward_rules.plants.state import PlantState
from sillward_rules.remark import ForecastInstead
from sillward_rules.sheet import Round

COURTYARD = examples() / "courtyard.toml"
COLD_SNAP = examples() / "recorded" / "cold-snap.json"
NOW = datetime(2026, 5, 14, 20, 0, tzinfo=UTC)


def now() -> datetime:
    return NOW


def offline(app: App) -> App:
    """An app whose forecast server is not there: nothing listens on its port."""
    nowhere = OpenMeteo("http://localhost:9")
    return replace(app, sources=(nowhere,))


def test_the_last_good_forecast_stands_in_and_says_so() -> None:
    app = build(Options(collection=COURTYARD), clock=now)
    ledger = Ledger(app.settings.ledger)
    fetched_at = NOW - timedelta(hours=3)
    body = COLD_SNAP.read_bytes()
    stored = SavedForecast("Open-Meteo", fetched_at, fetched_at, body)
    ledger.forecasts.keep("Courtyard", stored)
    ledger.close()
    app = offline(app)

    weather = read_only.fetched_weather(app, NOW)

    assert weather.fetched_at == fetched_at
    assert weather.remarks[0] == ForecastInstead("Open-Meteo: cannot be reached", fetched_at)


def test_without_any_forecast_the_reason_comes_through() -> None:
    app = build(Options(collection=COURTYARD), clock=now)
    app = offline(app)

    with pytest.raises(SourceError, match="cannot be reached"):
        read_only.fetched_weather(app, NOW)


def test_a_look_uses_what_the_ledger_knows_but_a_pretended_one_does_not() -> None:
    real = build(Options(collection=COURTYARD), clock=now)
    ledger = Ledger(real.settings.ledger)
    ledger.confirm(
        "Courtyard", NOW, {"any": None}, {"Blue basket": PlantState("sunroom", NOW, False)}
    )
    ledger.close()

    pretended = build(Options(collection=COURTYARD, at="2026-05-14T17:00"), clock=now)

    assert read_only.stored_states(real)["Blue basket"].spot == "sunroom"
    assert read_only.stored_states(pretended) == {}


def test_a_pretended_hour_says_nothing_of_this_machines_clock() -> None:
    real = build(Options(collection=COURTYARD), clock=now)
    pretended = build(Options(collection=COURTYARD, at="2026-05-14T17:00"), clock=now)

    assert not read_only.forecast_updater(real, Ledger(":memory:")).pretending
    assert read_only.forecast_updater(pretended, Ledger(":memory:")).pretending


def test_a_stored_forecast_is_looked_at_when_it_was_recorded() -> None:
    late = datetime(2027, 1, 1, tzinfo=UTC)
    app = build(Options(collection=COURTYARD, recorded=COLD_SNAP), clock=lambda: late)

    moment, as_recorded = read_only.moment_to_show(app, Round.MORNING)

    assert as_recorded
    assert moment.astimezone(app.site.zone).date().isoformat() == "2026-05-14"
    assert 8 <= moment.astimezone(app.site.zone).hour <= 9


def test_a_stored_forecast_of_these_days_is_looked_at_now() -> None:
    app = build(Options(collection=COURTYARD, recorded=COLD_SNAP), clock=now)

    assert read_only.moment_to_show(app, Round.DUSK) == (NOW, False)


def test_no_collection_is_a_setting_that_is_wrong() -> None:
    with pytest.raises(ConfigError, match="there is no collection"):
        build(Options(), clock=now)


def test_a_channel_takes_its_url_from_the_environment_or_a_credential(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "yard.toml"
    text = COURTYARD.read_text(encoding="utf-8")
    path.write_text(text + '\n[[channels]]\nname = "phone"\n[[channels]]\nname = "mail"\n')
    (tmp_path / "channel-mail").write_text("mailto://localhost?to=me@example.org\n")
    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", "json://localhost")
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))

    phone, mail = build(Options(collection=path), clock=now).household.channels

    assert phone.url is not None
    assert phone.url.get_secret_value() == "json://localhost"
    assert not phone.full_length
    assert mail.url is not None
    assert mail.full_length


def test_times_without_an_offset_are_the_sites() -> None:
    site = build(Options(collection=COURTYARD), clock=now).site

    assert parse_at("2026-05-14T17:00", site) == NOW
    assert parse_at("2026-05-14T20:00Z", site) == NOW
    for wrong in ("yesterday", "2026-13-01", "0001-01-01", ""):
        with pytest.raises(UsageError, match="is not an ISO time"):
            parse_at(wrong, site)
