"""Metrics as the daemon puts them together from its settings."""

import pytest
from werkzeug.test import Client

from sillward.assembly.metrics_setup import metrics_server
from sillward.config.settings import Settings, load_settings
from sillward.errors import ConfigError
from sillward.service.tally import Tally


@pytest.fixture
def settings(monkeypatch: pytest.MonkeyPatch) -> Settings:
    monkeypatch.setenv("SILLWARD_METRICS__ADDRESS", "127.0.0.1:9123")
    return load_settings()


def test_without_an_address_there_are_none() -> None:
    assert metrics_server(load_settings(), Tally()) is None


def test_metrics_are_served_where_the_settings_say(settings: Settings) -> None:
    tally = Tally()
    server = metrics_server(settings, tally)
    assert server is not None
    assert (server.host, server.port) == ("127.0.0.1", 9123)
    tally.households = 7
    assert "sillward_households 7.0" in Client(server.application).get("/metrics").text


def test_metrics_without_their_library_are_refused(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sillward.assembly.metrics_setup.find_spec", lambda _: None)
    with pytest.raises(ConfigError, match="metrics need prometheus-client"):
        metrics_server(settings, Tally())
