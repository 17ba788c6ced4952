"""What `sillward damage` looks into the past of a plant with."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sillward.assembly import read_only
from sillward.assembly.app import App
from sillward.ledger import Ledger
from sillward.ledger.tables.diary import DiaryEntry
from sillward.readings.lessons import Lessons
from sillward.service import damage as answers
from sillward.service.inquest import Inquest, YearOfNights, year_of_nights
from sillward.service.limit_news import LimitNews, news_of
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState


@dataclass(frozen=True, slots=True)
class Desk:
    """What is needed to look into the past of a plant."""

    ledger: Ledger
    collection: Collection
    sources: tuple[str, ...]
    plant: Plant
    state: PlantState | None
    now: datetime

    @classmethod
    def of(cls, app: App, ledger: Ledger, plant: Plant, now: datetime) -> "Desk":
        return cls.of_each(app, ledger, [plant], now)[plant.name]

    @classmethod
    def of_each(
        cls, app: App, ledger: Ledger, plants: Sequence[Plant], now: datetime
    ) -> dict[str, "Desk"]:
        """Return one for each plant, by name; what readings teach is worked out once."""
        lessons = Lessons(ledger, read_only.forecast_updater(app, ledger).store)
        collection = lessons.taught(app.household.collection, now)
        states = ledger.plant_states.of_site(app.site.name)
        sources = tuple(source.name for source in app.sources)
        return {
            plant.name: cls(ledger, collection, sources, plant, states.get(plant.name), now)
            for plant in plants
        }

    def inquest(self, entry: DiaryEntry | None) -> Inquest:
        """Look into damage, and learn from it."""
        found = answers.inquest_of(
            self.ledger, self.collection, self.sources, self.plant, self.state, entry, self.now
        )
        if entry is not None:
            answers.learn(self.ledger, self.collection.site.name, found, entry, self.now)
        return found

    def news(self) -> LimitNews | None:
        """Return what is learned by now."""
        return news_of(self.ledger, self.collection, self.plant)

    def year(self, news: LimitNews | None) -> YearOfNights | None:
        """Return what a proposal costs; None without one."""
        if news is None or not news.changes:
            return None
        limits = [limit for change in news.changes for limit in (change.was, change.value)]
        return year_of_nights(self.ledger, self.collection, self.plant, limits, self.now)
