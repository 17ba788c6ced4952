"""Metrics as the daemon puts them together from its settings."""

import pytest
from werkzeug.test import Client

from sillward.assembly.app import App, Options, build
from sillward.assembly.metrics_setup import metrics_server
from sillward.errors import ConfigError
from sillward.service.tally import Tally
from tests.support.paths import EXAMPLES


@pytest.fixture
def app(monkeypatch: pytest.MonkeyPatch) -> App:
    monkeypatch.setenv("SILLWARD_METRICS__ADDRESS", "127.0.0.1:9123")
    return build(Options(EXAMPLES / "courtyard.toml"))


def test_without_an_address_there_are_none() -> None:
    assert metrics_server(build(Options(EXAMPLES / "courtyard.toml")), Tally()) is None


def test_metrics_are_served_where_the_settings_say(app: App) -> None:
    tally = Tally()
    server = metrics_server(app, tally)
    assert server is not None
    assert (server.host, server.port) == ("127.0.0.1", 9123)
    tally.households = 7
    assert "sillward_households 7.0" in Client(server.application).get("/metrics").text


def test_metrics_without_their_library_are_refused(
    app: App, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sillward.assembly.metrics_setup.find_spec", lambda _: None)
    with pytest.raises(ConfigError, match="metrics need prometheus-client"):
        metrics_server(app, Tally())
