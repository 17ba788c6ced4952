"""The feed that the options of `sillward mix` describe."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sillward.errors import UsageError
from sillward.reports import mix_water
from sillward.reports.mix_water import WaterRequest
from sillward.text import printable
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.feeds import Feed
from sillward_rules.plants.fertiliser import (
    Fertiliser,
    Mix,
    Salt,
    grams_per_litre_for,
    names_of_salts,
    parse_npk,
    salt_named,
)

MAX_GRAMS_PER_LITRE = 1000.0
MAX_PPM = 1e6
MAX_LITRES = 10000.0
MAX_EC = 20.0
"""Maxima of the options [g/L, mg/L, L, mS/cm]. Judgement: more is a typing error."""


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
        return [(name, float(grams)) for name, grams in self.mix.weights()]


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
        ("--water-ec", water_ec, MAX_EC, " mS/cm (1000 uS/cm are 1 mS/cm)"),
        ("--ec-per-100", ec_per_100, MAX_EC, " mS/cm (1000 uS/cm are 1 mS/cm)"),
        ("--limit", limit, MAX_EC, " mS/cm (1000 uS/cm are 1 mS/cm)"),
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
    feed = _feed_named(collection, " ".join(words))
    recipe = feed.recipe
    assert recipe is not None
    limits = [
        plant.limits.salt_high.value
        for plant in collection.plants
        if plant.limits.salt_high is not None and feed in collection.feeds_of(plant)
    ]
    of_water = {name: value for name, value in of.items() if name not in _OF_THE_MIX}
    water = _water_of(collection, recipe.mix, of_water)
    most = limit or min(limits, default=None)
    beside = tuple(_courses_beside(collection, feed))
    return MixRequest(recipe.mix, litres or recipe.litres, most, water, beside)


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


def _courses_beside(collection: Collection, feed: Feed) -> Iterator[tuple[str, Mix]]:
    """Yield the courses of plants that get a feed, by name, each as a mix of its salt alone."""
    fed = [plant for plant in collection.plants if feed in collection.feeds_of(plant)]
    for course in collection.courses:
        if any(course.plants.includes(plant) for plant in fed):
            salt = ((course.salt, course.grams_per_litre),)
            yield course.name, Mix(Fertiliser(0, 0, 0), 0.0, course.water_ec, salt)


def _feed_named(collection: Collection, name: str) -> Feed:
    """Return the feed of this name, "feed" for [feed], or the only one whose name contains it."""
    feeds = {feed.name or "feed": feed for feed in collection.all_feeds if feed.recipe is not None}
    wanted = " ".join(name.lower().split())
    exact = [feed for known, feed in feeds.items() if known.lower() == wanted]
    found = exact or [feed for known, feed in feeds.items() if wanted in known.lower()]
    if len(found) == 1:
        return found[0]
    what = "more than one feed" if found else "not a feed"
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
