"""The tables [[feeds]] and [[courses]]: what some plants are given, from the file to the core."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from sillward.config import build_collection, cross_checks
from sillward.config.feed_models import CourseTable, NamedFeedTable
from sillward.config.place import Place, entry
from sillward.config.validation import TableReader
from sillward_rules.plants.collection import Recipe
from sillward_rules.plants.feeds import WEEK, Course, Feed
from sillward_rules.plants.fertiliser import SALTS
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_reading import read_choice
from sillward_rules.plants.rules import PlantFilter
from sillward_rules.plants.water_chemistry import Water
from sillward_rules.weather.season import Season
from sillward_rules.weather.time_expressions import parse_duration
from sillward_rules.weather.year_day import ALL_YEAR, YearSpan, parse_year_day


@dataclass(frozen=True, slots=True)
class GivenReader:
    """Reads both kinds of tables; what is wrong with them is reported.

    - plants: all plants that are right otherwise.
    - known: the names that there are, by the key of a choice of plants.
    - together: the names of plants by a name that they share.
    - feed, water: what [feed] and [water] say.
    """

    reader: TableReader
    plants: Sequence[Plant]
    known: Mapping[str, set[str]]
    together: Mapping[str, Sequence[str]]
    feed: Recipe | None
    water: Water | None

    def feeds(self, document: Mapping[str, Any]) -> tuple[Feed, ...]:
        """Return the feeds of [[feeds]]. No plant may have two of them at a time."""
        feeds: list[Feed] = []
        for index, raw in enumerate(self.reader.list_of_tables(document, "feeds") or []):
            where = entry("feeds", index, raw)
            table = self.reader.read(NamedFeedTable, raw, where)
            if table is None or not cross_checks.check_feed(self.reader, table, where):
                continue
            chosen = self._chosen(where, table.plants)
            if chosen is None or not self._is_new(where, table.name, [one.name for one in feeds]):
                continue
            try:
                recipe = build_collection.build_feed(table, self.water)
            except ValueError as error:
                self.reader.report(where, str(error))
                continue
            every = None if table.every is None else parse_duration(table.every)
            seasons = None if table.season is None else tuple(map(Season, table.season))
            days = self._days(where, table)
            if days is None:
                continue
            feed = Feed(table.name, recipe, every, seasons, chosen, days)
            self._check_others(where, feed, feeds)
            feeds.append(feed)
        return tuple(feeds)

    def courses(self, document: Mapping[str, Any], feeds: Sequence[Feed]) -> tuple[Course, ...]:
        """Return the courses of [[courses]]. Their names must not be those of feeds."""
        courses: list[Course] = []
        for index, raw in enumerate(self.reader.list_of_tables(document, "courses") or []):
            where = entry("courses", index, raw)
            table = self.reader.read(CourseTable, raw, where)
            if table is None:
                continue
            chosen = self._chosen(where, table.plants)
            taken = [*(feed.name for feed in feeds), *(course.name for course in courses)]
            is_new = self._is_new(where, table.name, taken)
            course = self._course(where, table, chosen or PlantFilter())
            if course is not None and chosen is not None and is_new:
                courses.append(course)
        return tuple(courses)

    def _days(self, where: Place, table: NamedFeedTable) -> YearSpan | None:
        """Return the days of the year of a feed; None, which is reported, if one is missing."""
        if table.begins is None and table.until is None:
            return ALL_YEAR
        if table.begins is None or table.until is None:
            self.reader.report(where, "give both from and until, or neither")
            return None
        return YearSpan(parse_year_day(table.begins), parse_year_day(table.until))

    def _course(self, where: Place, table: CourseTable, chosen: PlantFilter) -> Course | None:
        before = len(self.reader.errors)
        if (table.times is None) is (table.every is None):
            self.reader.report(where, "give exactly one of times and every")
        if table.begins is not None and table.until is not None and table.until < table.begins:
            text = f"until {table.until} is before from {table.begins}"
            self.reader.report(where, text, "until")
        water_ec = self._water_ec(table)
        if water_ec is None:
            text = "water_ec is missing; give it here, or in [feed], or as ec in a table [water]"
            self.reader.report(where, text)
        elif table.ec is not None and table.ec < water_ec:
            text = f"ec {table.ec:g} is below that of its water, {water_ec:g}"
            self.reader.report(where, text, "ec")
        if len(self.reader.errors) > before or water_ec is None:
            return None
        after = None if table.rinse_after is None else parse_duration(table.rinse_after)
        every = WEEK if table.every is None else parse_duration(table.every)
        return Course(
            name=table.name,
            salt=SALTS[table.salt],
            grams_per_litre=table.grams_per_litre,
            water_ec=water_ec,
            times=table.times or 1,
            within=timedelta(days=max(1, round(every / timedelta(days=1)))),
            plants=chosen,
            begins=table.begins,
            until=table.until,
            rinse_after=after,
            measured_ec=table.ec,
            litres=table.litres,
            never_with=tuple(table.never_with),
        )

    def _water_ec(self, table: CourseTable) -> float | None:
        if table.water_ec is not None:
            return table.water_ec
        if self.water is not None:
            return self.water.blended.ec
        return None if self.feed is None else float(self.feed.mix.water_ec)  # type: ignore[arg-type]

    def _chosen(self, where: Place, raw: Mapping[str, Any]) -> PlantFilter | None:
        """Return the choice of plants; None, which is reported, if it is wrong."""
        before = len(self.reader.errors)
        chosen, problems = read_choice(raw)
        for problem in problems:
            text = f"{problem.key}: {problem.text}"
            self.reader.report(where, text, *problem.key.split("."))
        chosen = build_collection.with_known_names(chosen, self.together)
        cross_checks.check_chosen_names(self.reader, where, chosen, self.known)
        return chosen if len(self.reader.errors) == before else None

    def _is_new(self, where: Place, name: str, taken: Collection[str]) -> bool:
        if name not in taken:
            return True
        self.reader.report(where, "the name is already taken by another feed or course", "name")
        return False

    def _check_others(self, where: Place, feed: Feed, others: Sequence[Feed]) -> None:
        """Report the first plant that gets another feed at the same time."""
        for other in others:
            when = feed.meets(other)
            for plant in self.plants if when is not None else ():
                if feed.plants.includes(plant) and other.plants.includes(plant):
                    text = f'"{plant.name}" gets "{other.name}" too ({when}); one feed at a time'
                    self.reader.report(where, f"plants: {text}", "plants")
                    break
