"""The packaged example: a collection with its recorded forecasts."""

from datetime import date, timedelta
from importlib import resources
from pathlib import Path

from sillward.assembly.app import App, Options
from sillward.config.loader import load_household
from sillward.config.settings import Settings
from sillward.forecast.recorded import recorded
from sillward.forecast.store import utc_now
from sillward_rules.plants.pot_water import PotLook
from sillward_rules.plants.sightings import looked_at
from sillward_rules.plants.state import PlantState

DEMOS = {
    "cold-snap": date(2026, 5, 14),
    "dry-summer": date(2026, 1, 20),
    "mild-week": date(2026, 10, 6),
    "wet-autumn": date(2026, 4, 9),
}
"""The recorded forecasts, each with the day on which it was recorded."""


def examples() -> Path:
    """Return the folder of the packaged examples."""
    packaged = Path(str(resources.files("sillward"))) / "examples"
    # In a checkout installed for development the examples are still at the top.
    return packaged if packaged.is_dir() else Path(__file__).parents[3] / "examples"


PAST_YEAR = date(2024, 12, 1), date(2025, 11, 30)
"""The nights for which the packaged past weather is meant; it has some days more at either end."""


def past_year() -> tuple[App, Path]:
    """Build the packaged example for a replay, with the file of its past weather."""
    folder = examples()
    options = Options(collection=folder / "courtyard.toml", recorded=folder / "past-year.csv")
    household = load_household(folder / "courtyard.toml")
    app = App(Settings.model_construct(), household, (), options, utc_now)
    return app, folder / "past-year.csv"


def looked_at_pots(app: App) -> dict[str, PlantState]:
    """Return the states of the example's plants in pots: each was looked at the evening before."""
    evening = app.clock() - timedelta(days=1)
    look = PotLook("moist", evening, evening)
    return {
        plant.name: looked_at(PlantState(plant.home), look)
        for plant in app.household.collection.plants
        if plant.pot is not None
    }


def demo(weather: str) -> App:
    """Build the packaged example with one of its recorded forecasts, whatever the settings say."""
    folder = examples()
    household = load_household(folder / "courtyard.toml")
    at = household.rounds.dusk.on(household.collection.site, DEMOS[weather])
    file = folder / "recorded" / f"{weather}.json"
    source = recorded(file, household.collection.site, at)
    return App(Settings.model_construct(), household, (source,), Options(recorded=file), lambda: at)
