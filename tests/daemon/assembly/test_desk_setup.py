"""Desks of one daemon: what their forecasts know of the readings at each household's spots."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from sillward.assembly.app import Options, build
from sillward.assembly.desk_setup import build_desks
from sillward.config.household import Household
from sillward.ledger import Ledger
from sillward_rules.weather.learned_error import LearnedError
from tests.support.past_readings import past_nights
from tests.support.paths import EXAMPLES

NOW = datetime(2026, 6, 20, 18, tzinfo=UTC)
SOURCE = "Open-Meteo"


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    with closing(Ledger(":memory:")) as opened:
        yield opened


def yard(folder: Path, name: str) -> Options:
    """The packaged courtyard under another name."""
    text = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
    path = folder / f"{name}.toml"
    path.write_text(text.replace('name = "Courtyard"', f'name = "{name}"'), encoding="utf-8")
    return Options(collection=path)


def indoors(household: Household, spot: str) -> Household:
    """The household once its grower has put a roof over a spot."""
    spots = tuple(
        replace(one, indoors=True, night_low_c=5.0) if one.name == spot else one
        for one in household.collection.spots
    )
    return replace(household, collection=replace(household.collection, spots=spots))


def test_forecasts_are_judged_by_the_thermometers_of_their_own_household_as_it_is_now(
    ledger: Ledger, tmp_path: Path
) -> None:
    apps = [build(yard(tmp_path, name), clock=lambda: NOW) for name in ("North", "South")]
    north, south = (app.site for app in apps)
    for site, spot in ((north, "pergola"), (south, "back hall")):
        past_nights(ledger, site, SOURCE, spot, NOW, [2.0, -2.0] * 20)
    first, second = build_desks(apps, ledger)
    forecasts = first.context.forecasts

    def learned() -> LearnedError | None:
        forecasts.forget(north)  # as at another day
        return forecasts.learned_error(north, SOURCE)

    assert second.context.forecasts is forecasts
    found = learned()
    assert found is not None
    assert found.origin == "errors learned from 40 nights with readings"
    assert forecasts.learned_error(south, SOURCE) is None, "a hall says nothing of the weather"
    first.take_over(indoors(first.context.household, "pergola"))
    assert learned() is None
