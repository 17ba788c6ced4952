"""The feed that the options of `sillward mix` describe."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sillward.errors import UsageError
from sillward.reports import mix_water
from sillward.reports.mix_water import WaterRequest
from sillward.text import printable
from sillward_rules.planners import strength
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.feeds import Course, Feed, Recipe
from sillward_rules.plants.fertiliser import (
    Fertiliser,
    Mix,
    Salt,
    grams_per_litre_for,
    names_of_salts,
    parse_npk,
    salt_named,
)
from sillward_rules.plants.plant import Plant

MAX_GRAMS_PER_LITRE = 1000.0
MAX_PPM = 1e6
MAX_LITRES = 10000.0
MAX_EC = 20.0
"""Maxima of the options [g/L, mg/L, L, mS/cm]. Judgement: more is a typing error."""


@dataclass(frozen=True, slots=True)
class Bearers:
    """The plants that bear the least of a mix, and how many bear more: so much, or more [mS/cm]."""

    names: tuple[str, ...]
    others: int = 0
    others_bear: float | None = None


@dataclass(frozen=True, slots=True)
class MixRequest:
    """A mix, and the sprayer's volume [L] and the limit of EC [mS/cm] if they are given."""

    mix: Mix
    litres: float | None
    limit: float | None
    water: WaterRequest | None = None
    """What else is known of its water; None if nothing is."""
    beside: tuple[tuple[str, Mix], ...] = ()
    """Courses of the same plants, by name."""
    bearers: Bearers | None = None
    """Whose limit it is; None where that was given."""
    poured: bool = False
    """Whether it only goes into pots, so that no film of it dries."""
    most: float | None = None
    """With how much [g/L] it can be given to all of its plants, where that is known."""

    @property
    def ec(self) -> float:
        """EC of water, fertiliser and salts together [mS/cm]."""
        return float(self.mix.ec)

    @property
    def over(self) -> bool:
        """Whether the mix is over the limit before anything has dried."""
        return self.limit is not None and self.ec > self.limit * (1 + 1e-9)

    def weights(self) -> list[tuple[str, float]]:
        """Return the fertiliser and the salts, each with its grams per litre."""
        every = [(name, float(grams)) for name, grams in self.mix.weights()]
        return every[1:] if self.is_of_salts else every

    @property
    def is_of_salts(self) -> bool:
        """Whether there is no fertiliser in it, as in a course."""
        return bool(self.mix.supplements) and float(np.asarray(self.mix.grams_per_litre)) == 0


def request_from_options(
    *,
    npk: str,
    ppm_n: float | None,
    grams_per_litre: float | None,
    salts: Sequence[str],
    water_ec: float,
    ec_per_100: float | None,
    mg: float | None,
    ca: float | None,
    litres: float | None,
    limit: float | None,
    **of_water: Any,
) -> MixRequest:
    """Return the mix that these options describe.

    of_water: those of `mix_water.request_from_options`. Raise UsageError, which names the option
    that is wrong.
    """
    for option, value, maximum, hint in (
        ("--ppm-n", ppm_n, MAX_PPM, ""),
        ("--grams-per-litre", grams_per_litre, MAX_GRAMS_PER_LITRE, ""),
        ("--litres", litres, MAX_LITRES, ""),
        ("--water-ec", water_ec, MAX_EC, " mS/cm (1000 uS/cm is 1 mS/cm)"),
        ("--ec-per-100", ec_per_100, MAX_EC, " mS/cm (1000 uS/cm is 1 mS/cm)"),
        ("--limit", limit, MAX_EC, " mS/cm (1000 uS/cm is 1 mS/cm)"),
    ):
        if value is not None:
            _require_range(option, value, maximum, hint)
    for option, value in (
        ("--litres", litres),
        ("--limit", limit),
        ("--ec-per-100", ec_per_100),
    ):
        if value == 0:
            msg = f"{option} must be above 0"
            raise UsageError(msg)
    try:
        fertiliser = Fertiliser(*parse_npk(npk), mg, ca, ec_per_100)
    except ValueError as error:
        msg = f"--npk {npk}: {error}"
        raise UsageError(msg) from error
    grams = _grams(fertiliser, ppm_n, grams_per_litre)
    water = mix_water.request_from_options(water_ec, **of_water)
    mix = Mix(fertiliser, grams, water.water.blended.ec, _salts(salts))
    return MixRequest(mix, litres, limit, water if any(of_water.values()) else None)


_OF_THE_MIX = ("npk", "ppm_n", "grams_per_litre", "water_ec", "ec_per_100", "mg", "ca", "salts")
"""Options that say what is in a feed, which the collection says of one that is named."""


def request_by_name(
    collection: Collection,
    words: Sequence[str],
    *,
    litres: float | None,
    limit: float | None,
    **of: Any,
) -> MixRequest:
    """Return the mix of a feed of the collection, with the limit of its most tender plant.

    Raise UsageError if there is no such feed, or an option says something else of it.
    """
    given = [name for name in _OF_THE_MIX if of[name] not in (None, ())]
    if given:
        option = given[0].replace("_", "-").removesuffix("s" if given[0] == "salts" else "")
        msg = f"--{option}: the collection says what is in a feed that is named; leave it out"
        raise UsageError(msg)
    for option, value, maximum in (("--litres", litres, MAX_LITRES), ("--limit", limit, MAX_EC)):
        if value is not None:
            _require_range(option, value, maximum)
            if value == 0:
                msg = f"{option} must be above 0"
                raise UsageError(msg)
    one = _given_named(collection, " ".join(words))
    plants = [plant for plant in collection.plants if _gets(collection, plant, one)]
    least, bearers = _bearers(plants)
    recipe = _recipe_of(one)
    of_water = {name: value for name, value in of.items() if name not in _OF_THE_MIX}
    bound = limit or least
    return MixRequest(
        recipe.mix,
        litres or recipe.litres,
        bound,
        _water_of(collection, recipe.mix, of_water),
        tuple(_courses_beside(collection, one)),
        bearers if limit is None else None,
        poured=bool(plants) and all(plant.pot is not None for plant in plants),
        most=_most(collection, one) if limit is None else None,
    )


def _recipe_of(one: Feed | Course) -> Recipe:
    if isinstance(one, Feed):
        assert one.recipe is not None
        return one.recipe
    salt = ((one.salt, one.grams_per_litre),)
    return Recipe(Mix(Fertiliser(0, 0, 0), 0.0, one.water_ec, salt), one.litres)


def _most(collection: Collection, one: Feed | Course) -> float | None:
    """Return with how much it can be given to all its plants [g/L]; None without a limit."""
    traits = collection.traits
    meant = strength.meant_for(collection, traits)[strength.all_given(collection).index(one)]
    bears = strength.bearable_ec(one, traits, collection.habits)[meant]
    known = bears[np.isfinite(bears)]
    return one.grams_within(float(known.min())) if known.size else None


def _gets(collection: Collection, plant: Plant, one: Feed | Course) -> bool:
    return one in collection.feeds_of(plant) or one in collection.courses_of(plant)


def _bearers(plants: Sequence[Plant]) -> tuple[float | None, Bearers | None]:
    """Return the least that plants bear [mS/cm], and who that is; None if none has a limit."""
    bears = {
        plant.name: plant.limits.salt_high.value
        for plant in plants
        if plant.limits.salt_high is not None
    }
    if not bears:
        return None, None
    least = min(bears.values())
    more = [value for value in bears.values() if value > least]
    names = tuple(name for name, value in bears.items() if value == least)
    return least, Bearers(names, len(more), min(more, default=None))


def _water_of(collection: Collection, mix: Mix, options: Mapping[str, Any]) -> WaterRequest | None:
    """Return the water of the collection, with what the options say of it; None for neither."""
    known = collection.water
    if known is None:
        water_ec = float(np.asarray(mix.water_ec))
        asks = any(options.values())
        return mix_water.request_from_options(water_ec, **options) if asks else None
    if options["rain"]:
        msg = "--rain: the table [water] says how much rain is mixed in; leave it out"
        raise UsageError(msg)
    told = {
        "alkalinity": known.alkalinity,
        "water_ph": known.ph,
        "rain": known.rain,
        "aim_ph": known.aim_ph,
    }
    given = {name: value for name, value in options.items() if value not in (None, 0.0)}
    return mix_water.request_from_options(known.ec, **{**told, **given})


def _courses_beside(collection: Collection, one: Feed | Course) -> Iterator[tuple[str, Mix]]:
    """Yield the other courses of plants that get a feed or a course, each as a mix of its salt."""
    fed = [plant for plant in collection.plants if _gets(collection, plant, one)]
    for course in collection.courses:
        if course != one and any(course.plants.includes(plant) for plant in fed):
            yield course.name, _recipe_of(course).mix


def _given_named(collection: Collection, name: str) -> Feed | Course:
    """Return the feed or course of this name, or the only one whose name contains it.

    "feed" is that of [feed].
    """
    feeds: dict[str, Feed | Course] = {
        feed.name or "feed": feed for feed in collection.all_feeds if feed.recipe is not None
    }
    feeds |= {course.name: course for course in collection.courses}
    wanted = " ".join(name.lower().split())
    exact = [feed for known, feed in feeds.items() if known.lower() == wanted]
    found = exact or [feed for known, feed in feeds.items() if wanted in known.lower()]
    if len(found) == 1:
        return found[0]
    what = "more than one feed or course" if found else "not a feed or a course"
    known = ", ".join(feed.name or "feed" for feed in found) or ", ".join(feeds) or "there is none"
    msg = f'"{printable.escaped(name[:60])}" is {what} here ({known})'
    raise UsageError(msg)


def _require_range(option: str, value: float, maximum: float, hint: str = "") -> None:
    if not 0 <= value <= maximum:
        msg = f"{option} {value:g}: must be from 0 to {maximum:.0f}{hint}"
        raise UsageError(msg)


def _grams(fertiliser: Fertiliser, ppm_n: float | None, grams: float | None) -> float:
    """Return grams of fertiliser per litre, given so or by the nitrogen wanted."""
    if ppm_n is None and grams is not None:
        return grams
    if ppm_n is None or grams is not None:
        msg = "give either --ppm-n or --grams-per-litre"
        raise UsageError(msg)
    if fertiliser.n_pct == 0:
        msg = f"--ppm-n: {fertiliser.label} has no nitrogen; give --grams-per-litre"
        raise UsageError(msg)
    wanted = float(grams_per_litre_for(ppm_n, fertiliser.n_pct))
    if wanted > MAX_GRAMS_PER_LITRE:
        msg = f"--ppm-n {ppm_n:g}: needs {wanted:.0f} g/L of {fertiliser.label}"
        raise UsageError(msg)
    return wanted


def _salts(options: Sequence[str]) -> tuple[tuple[Salt, float], ...]:
    """Read salts with their grams per litre from texts such as "KNO3=0.1"."""
    found: dict[str, tuple[Salt, float]] = {}
    for text in options:
        name, _, amount = text.rpartition("=")
        salt = salt_named(name)
        if not name:
            msg = f'--salt "{text}": write NAME=GRAMS, such as MgSO4.7H2O=0.1'
            raise UsageError(msg)
        if salt is None:
            msg = f'--salt "{name}" is not one of {names_of_salts()}'
            raise UsageError(msg)
        if salt.formula in found:
            msg = f"--salt {salt.formula} is given twice"
            raise UsageError(msg)
        try:
            grams = printable.number(amount)
        except ValueError:
            msg = f'--salt {salt.formula}: "{amount}" is not a number of grams per litre'
            raise UsageError(msg) from None
        _require_range(f"--salt {salt.formula}", grams, MAX_GRAMS_PER_LITRE, " g/L")
        found[salt.formula] = salt, grams
    return tuple(found.values())
