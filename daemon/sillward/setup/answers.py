"""The answers of a first run, and what the words of the dialogue stand for in numbers."""

from dataclasses import dataclass
from pathlib import Path

from pydantic import SecretStr

from sillward.text.units import Temperature
from sillward_rules.plants.plant import Holder
from sillward_rules.weather.spot import DEFAULT_RAIN, DEFAULT_SKY_VIEW, DEFAULT_WIND


@dataclass(frozen=True, slots=True)
class Cover:
    """What is above a spot: shares of the sky and of the rain that reach the plants."""

    words: str
    question: str
    sky_view: float
    rain: float


COVERS = (
    Cover("open sky", "open sky", 1.0, DEFAULT_RAIN),
    Cover(
        "half open",
        "half open: a pergola, a tree, the foot of a wall",
        DEFAULT_SKY_VIEW,
        DEFAULT_RAIN,
    ),
    Cover("a roof", "a roof", 0.3, 0.0),
)
"""Judgement: where the words leave room, more sky (so colder leaves) and more rain."""


@dataclass(frozen=True, slots=True)
class Breeze:
    """How open a spot is to the wind: the share of the open-field wind that reaches it."""

    words: str
    question: str
    wind: float


BREEZES = (
    Breeze("open", "open to the wind", 0.7),
    Breeze("partly sheltered", "a wall or hedge on some sides", DEFAULT_WIND),
    Breeze("sheltered", "walls or hedges all around", 0.2),
)
"""Judgement: even in the open plants stand in the lee of something."""


@dataclass(frozen=True, slots=True)
class SiteAnswer:
    """The site.

    found: how the search names the place; None if coordinates were typed.
    unit: the unit in which temperatures are typed, shown and told.
    """

    name: str
    latitude: float
    longitude: float
    elevation_m: float
    zone: str
    found: str | None = None
    unit: Temperature = "°C"


@dataclass(frozen=True, slots=True)
class OutdoorAnswer:
    """A spot under the sky."""

    name: str
    cover: Cover
    breeze: Breeze


@dataclass(frozen=True, slots=True)
class IndoorAnswer:
    """A spot in a house.

    night_low_c: what it holds on the coldest nights; None if unknown.
    """

    name: str
    night_low_c: float | None


SpotAnswer = OutdoorAnswer | IndoorAnswer


@dataclass(frozen=True, slots=True)
class PhoneAnswer:
    """A phone as a channel.

    url: to be written into the file; None for one that is kept already.
    file: the credential file of its URL; None if the environment has it.
    has_arrived: whether a trial is known to have arrived.
    """

    name: str
    url: SecretStr | None
    file: Path | None
    has_arrived: bool


@dataclass(frozen=True, slots=True)
class PlantAnswer:
    """A plant: one group, several for a hybrid, or none and a night limit of its own."""

    name: str
    groups: tuple[str, ...]
    holder: Holder
    home: str
    shelter: str | None
    night_low_c: float | None
    group_low_c: float | None
    """The night limit of its groups."""
