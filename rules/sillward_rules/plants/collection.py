"""The collection: everything the grower has told, in the core's own types."""

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, field
from datetime import timedelta

from sillward_rules.physics.crown_wetness import AXIL_FACTOR
from sillward_rules.plants.feeds import Course, Feed
from sillward_rules.plants.feeds import Recipe as Recipe
from sillward_rules.plants.plant import Plant, Traits
from sillward_rules.plants.rules import Rule
from sillward_rules.plants.water_chemistry import Water
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.time_expressions import Hours, Moment, parse_moment

CAUTION: Mapping[str, float] = {"relaxed": 30.0, "usual": 120.0, "careful": 400.0}
"""How many trips a lost leaf is worth, in words. By replay, so that with the usual caution a leaf
falls 1 K or more under its limit outside on a tenth of the nights, at most, on which it does if
forecasts are taken at their word (docs/decisions.md, "Harm against trips")."""

DEFAULT_CAUTION = CAUTION["usual"]


@dataclass(frozen=True, slots=True)
class Habits:
    """How the grower works. Every default is a judgement that the collection can change."""

    in_by: Moment = field(default_factory=lambda: parse_moment("sunset"))
    """Usual hour for carrying in, when the cold itself comes later in the night."""

    told_at: Moment = field(default_factory=lambda: parse_moment("sunset-90min"))
    """When the dusk round is told. What must go in before that, the morning round has to say."""

    morning_at: Moment = field(default_factory=lambda: parse_moment("sunrise+15min"))
    """When the morning round is told. What is due before that, the dusk round has to say."""

    lead: timedelta = timedelta(minutes=45)
    """Plants are under cover this long before the leaf crosses its limit."""

    latest_after_sunset: timedelta = timedelta(hours=1)
    """Nothing is carried in later than this after sunset, while it is still light enough to see."""

    out_margin_k: float = 1.0
    """Plants go out again when the leaf is this far above its limit [K] ..."""

    out_after: timedelta = timedelta(hours=1)
    """... and has been for this long."""

    worth_going_out: timedelta | None = None
    """A shorter day outside is not worth two trips; None to decide by what a plant gains from it
    (`days_out.GAIN`)."""

    caution: float = DEFAULT_CAUTION
    """A lost leaf is worth this many trips (`planners.walks`)."""

    brief_cold: timedelta = timedelta(hours=1)
    """Plants bear a dip under the night limit that is no longer than this, if the nights before and
    after are mild."""

    wet_margin_k: float = 1.5
    """Wet crowns of rot-prone plants stand this much less cold [K]; 1 to 2 (judgement).

    It is added to the colder leaf of a plant that is wet with rain, because it is about something
    else: rot sets in sooner in tissue that is cold and wet, while a wet leaf is colder because
    water evaporates from it. Weighed: growers' advice "drier as it gets colder" refers to a
    thermometer in the air and so covers part of both. But in the moist air of most rainy nights a
    wet leaf is only some tenths of a kelvin below a dry one, and in dry air, where it may be two or
    three, crowns dry within hours and the margin ends with that. Dew, and a crown that is not known
    to be dry, bring the margin alone. Too much of both costs a trip, too little a crown.
    """

    hours: tuple[Hours, ...] = ()
    """When the grower can water; empty for any hour."""

    feed_every: timedelta = timedelta(days=7)
    """Plants are fed no more often than this. Common practice: weakly, weekly."""

    leaf_uptake: timedelta = timedelta(minutes=45)
    """A leaf must stay wet this long to take feed or water up."""

    velamen_uptake: timedelta = timedelta(minutes=15)
    """Bare velamen must stay wet this long; also the shortest time until a rinse can follow."""

    mist_from_c: float | None = None
    """On days that stay cooler than this [°C] nothing is misted; None for what each plant wants
    (`season.WARMTH`)."""

    feed_from_c: float | None = None
    """Nothing is fed unless the 24 hours of the day average this much [°C]; None as above."""

    mistings_most: int = 3
    """Most mistings a day."""

    dry_by: timedelta = timedelta(hours=1)
    """Crowns must be dry this long before sunset."""

    axil_factor: float = AXIL_FACTOR
    """A sheltered crown or axil dries this much slower than an open film."""


@dataclass(frozen=True, slots=True)
class Collection:
    """Site, spots, plants, rules (the standard ones included), habits, feeds and courses.

    - feed: of all plants that none of `feeds` is for; None if the grower has not said what it is.
    - feeds: those for some plants, never two of them at a time for a plant; their names differ, and
      from courses too.
    """

    site: Site
    spots: tuple[Spot, ...]
    plants: tuple[Plant, ...]
    rules: tuple[Rule, ...]
    habits: Habits = field(default_factory=Habits)
    feed: Recipe | None = None
    water: Water | None = None
    """The water in use; without it the salts that stay in pots and on roots are not counted."""
    feeds: tuple[Feed, ...] = ()
    courses: tuple[Course, ...] = ()
    kinds: tuple[tuple[Plant, ...], ...] = field(init=False, repr=False, compare=False)
    """The plants, each together with those that differ from it in nothing but the name."""
    names: tuple[tuple[str, ...], ...] = field(init=False, repr=False, compare=False)
    """The names of the plants of each kind."""
    traits: Traits = field(init=False, repr=False, compare=False)
    """The traits of the first plant of each kind."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "kinds", _kinds(self))
        names = tuple(tuple(plant.name for plant in kind) for kind in self.kinds)
        object.__setattr__(self, "names", names)
        object.__setattr__(self, "traits", Traits.of([kind[0] for kind in self.kinds]))

    def with_spots(self, spots: tuple[Spot, ...]) -> "Collection":
        """Return the same with more known of its spots. Their names must be the same, in order."""
        if spots == self.spots:
            return self
        if [spot.name for spot in spots] != [spot.name for spot in self.spots]:
            msg = "collection: these are other spots"
            raise ValueError(msg)
        other = copy(self)  # what has been worked out of plants and rules stays
        object.__setattr__(other, "spots", spots)
        return other

    @property
    def all_feeds(self) -> tuple[Feed, ...]:
        """Every feed, that of all other plants last.

        Without any, plants are fed with something that is not known. With feeds for some plants
        alone, the others are not fed.
        """
        others = (Feed(recipe=self.feed),) if self.feed is not None or not self.feeds else ()
        return (*self.feeds, *others)

    def feeds_of(self, plant: Plant) -> tuple[Feed, ...]:
        """Return the feeds of a plant, each in its time; none if it is not fed."""
        own = tuple(feed for feed in self.feeds if feed.plants.includes(plant))
        return own or self.all_feeds[len(self.feeds) :]

    def courses_of(self, plant: Plant) -> tuple[Course, ...]:
        """Return the courses that are for a plant, also those that are over."""
        return tuple(course for course in self.courses if course.plants.includes(plant))

    def spot(self, name: str) -> Spot:
        """Return the spot of this name. Raise KeyError if there is none."""
        for spot in self.spots:
            if spot.name == name:
                return spot
        raise KeyError(name)


def _kinds(of: Collection) -> tuple[tuple[Plant, ...], ...]:
    """Group plants that are alike. A plant that a rule calls by its name is a kind of its own."""
    named = {name for rule in of.rules for name in rule.plants.name}
    given = [*(feed.plants for feed in of.feeds), *(course.plants for course in of.courses)]
    kinds: dict[object, list[Plant]] = {}
    for plant in of.plants:
        alone = plant.name if plant.name in named else None
        kind = (
            alone,
            plant.home,
            plant.shelter,
            plant.holder,
            plant.compost,
            plant.velamen,
            plant.groups,
            plant.limits,
            plant.worth,
            plant.pot,
            plant.span_cm,
            tuple(chosen.includes(plant) for chosen in given),
        )
        kinds.setdefault(kind, []).append(plant)
    return tuple(tuple(members) for members in kinds.values())
