"""The tables [[plants]] and [defaults] as they are written: keys, types and ranges.

What a plant is follows from several tables together (`plant_tables`), so a key that every plant
needs may be missing in each of them.
"""

from typing import Annotated

from pydantic import Field

from sillward.config.models import Celsius, NightLow, Percent, Table, Text
from sillward_rules.plants.limits import Rest, Rot
from sillward_rules.plants.plant import Holder
from sillward_rules.plants.pot import Medium
from sillward_rules.weather.season import Grows

MAX_COUNT = 1000
"""Plants of one table with `count`. Judgement: more than a bench holds."""

TAKEN_BACK = ("shelter", "pot", "span")
"""Keys that may be `false`, for a plant without what the defaults give. Other keys have a value of
their own for that."""


class LimitsTable(Table):
    """The grower's own limits for a plant; they replace those of its group."""

    night_low: NightLow | None = Field(
        None, description="lowest temperature for whole nights, the limit of comfort, °C"
    )
    brief_low: NightLow | None = Field(
        None, description="temperature of air or leaf that injures within hours, °C"
    )
    rest_low: NightLow | None = Field(
        None, description="lowest temperature for whole nights while growth rests, °C"
    )
    day_high: Celsius | None = Field(None, description="highest air temperature by day, °C")
    leaf_high: Celsius | None = Field(None, description="highest leaf temperature in the sun, °C")
    night_high: Celsius | None = Field(
        None, description="highest temperature for whole nights, for cool growers, °C"
    )
    humidity_low: Percent | None = Field(None, description="lowest relative humidity, %")
    vpd_high: Annotated[float, Field(gt=0, le=10)] | None = Field(
        None, description="highest vapour-pressure deficit of the air, kPa"
    )
    light_low: Annotated[float, Field(gt=0, le=3000)] | None = Field(
        None, description="least light at noon, as PPFD, umol m-2 s-1"
    )
    light_high: Annotated[float, Field(gt=0, le=3000)] | None = Field(
        None, description="most light at noon, as PPFD, umol m-2 s-1"
    )
    salt_high: Annotated[float, Field(gt=0, le=10)] | None = Field(
        None, description="strongest feed, as EC, mS/cm"
    )
    medium_salt_high: Annotated[float, Field(gt=0, le=20)] | None = Field(
        None,
        description=(
            "strongest water in the medium or on the roots, as EC of a pour-through, mS/cm; left "
            "out: 2.5 times salt_high, at most 4.6"
        ),
    )
    gust_high: Annotated[float, Field(gt=0, le=60)] | None = Field(
        None,
        description=(
            "strongest gust at the spot, m/s; left out: 10 for baskets and mounts, else 14"
        ),
    )
    rain_high: Annotated[float, Field(gt=0, le=200)] | None = Field(
        None, description="most rain in an hour, mm; left out: 15"
    )
    rot: Rot | None = Field(
        None, description="how easily crown and axils rot when they stay wet overnight"
    )
    rest: Rest | None = Field(None, description='"dry" if the plant is kept dry while growth rests')
    grows: Grows | None = Field(
        None,
        description="the warmth in which it grows, which also decides when it is misted and fed",
    )


class PotTable(Table):
    """What a plant stands in."""

    litres: Annotated[float, Field(ge=0.02, le=500)] | None = Field(
        None,
        description=(
            "how much medium it holds, L; a round pot 15 cm across holds about 1.5; needed with "
            "every pot"
        ),
    )
    medium: Medium | None = Field(
        None,
        description=(
            "what the roots are in: bark; sphagnum moss; peat, as bought potting compost is; soil,"
            " with loam or garden earth in it; mineral, as pumice, lava, perlite or clay balls; "
            "needed with every pot"
        ),
    )
    dark: bool = Field(
        False, description="whether its outside is dark, so that the sun heats it (false)"
    )


class PlantKeys(Table):
    """The keys that describe a plant, or many."""

    group: Text | None = Field(None, description="its culture group; `sillward groups` lists them")
    parents: Annotated[list[Text], Field(min_length=1)] | None = Field(
        None,
        description=(
            "for a hybrid, instead of group: the groups of its parents; "
            "the most tender limit counts"
        ),
    )
    holder: Holder | None = Field(None, description="what it grows in or on; every plant needs it")
    home: Text | None = Field(
        None,
        description="the spot where it stands when nothing is wrong; every plant needs it",
    )
    shelter: Text | None = Field(
        None,
        description=(
            "the spot to which it is carried on a cold night; left out: a room is chosen for it, "
            "and named on the sheet"
        ),
    )
    velamen: bool | None = Field(
        None,
        description=(
            "whether it has bare aerial roots that are misted; left "
            "out: its group and holder decide"
        ),
    )
    worth: Annotated[float, Field(gt=0, le=100)] | None = Field(
        None,
        description=(
            "how many times as much harm to it counts as harm to other plants, when harm is "
            "weighed against trips (1)"
        ),
    )
    pot: PotTable | None = Field(
        None,
        description=(
            'its pot, such as { litres = 3, medium = "bark" }; left out: nothing is said about '
            "when it needs water"
        ),
    )
    span: Annotated[float, Field(ge=1, le=1000)] | None = Field(
        None, description="how wide it is across its leaves, cm; left out: estimated from its pot"
    )
    limits: LimitsTable = Field(
        LimitsTable(), description="your own limits, which replace those of its group"
    )


class _Named(Table):
    """Which plants a table is about."""

    name: Text | None = Field(
        None,
        description=(
            "what messages call the plant; each needs a name of its own; give this or `names`"
        ),
    )
    names: Annotated[list[Text], Field(min_length=1)] | None = Field(
        None,
        description="for plants that are alike, instead of name: what messages call each of them",
    )
    count: Annotated[int, Field(ge=1, le=MAX_COUNT)] | None = Field(
        None,
        description=(
            'with name: how many of them there are, called "NAME 1", "NAME 2" and so on; left '
            "out: one, called just by the name"
        ),
    )


class DefaultsTable(PlantKeys):
    """[defaults]: what holds for every plant whose own table does not say it."""


class OneOfThemTable(PlantKeys):
    """[plants.but."NAME"]: what is different about one plant of a table for several."""


class PlantTable(PlantKeys, _Named):
    """[[plants]]: one container, or several that are alike."""

    but: dict[Text, OneOfThemTable] = Field(
        {},
        description=(
            "with names or count: what is different about some of them, by name, such as "
            'but."Moth 7".home = "bench"'
        ),
    )
