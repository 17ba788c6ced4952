"""Collection files, as text: invented plants in a courtyard in Mendoza, one to forty of them."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from sillward.assembly.examples import examples

MENDOZA = """
[site]
name = "Courtyard"
latitude = -32.89
longitude = -68.85
elevation = 780
zone = "America/Argentina/Mendoza"
"""

FAR_NORTH = """
[site]
name = "Fjord yard"
latitude = 69.65
longitude = 18.96
elevation = 20
zone = "Europe/Oslo"
"""

_OF_THE_WHOLE_PLANT = re.compile(
    r"^(?:pot|span) = .*\n|^\[water\].*\n(?:.+\n)*|^\[\[(?:feeds|courses)\]\].*\n(?:.+\n)*",
    re.MULTILINE,
)


def courtyard_with_one_feed() -> str:
    """The packaged collection, without pots and with [feed] alone, for tests that add their own."""
    text = (examples() / "courtyard.toml").read_text(encoding="utf-8")
    return _OF_THE_WHOLE_PLANT.sub("", text).replace("[feed] ", "[feed]\nwater_ec = 0.15 ")


OUTDOORS = {
    "pergola": "sky_view = 0.5\nwind = 0.35\nrain = 1.0\nheight = 2.0\nnight_offset = 0.8",
    "wall bench": "sky_view = 0.3\nwind = 0.25\nrain = 0.3\nheight = 0.6\nnight_offset = 1.5",
    "roof terrace": "sky_view = 0.9\nwind = 0.8\nrain = 1.0\nheight = 4.0\nnight_offset = -0.3",
    "back stairs": "sky_view = 0.4\nwind = 0.3\nrain = 0.8\nheight = 1.0\nnight_offset = 0.4",
}
SUN = "sun = [{ from = 300, to = 60, above = 25 }]\nday_offset = 0.5"
INDOORS = {
    "sunroom": "night_low = 14\nday_low = 18\nhumidity = 55",
    "back hall": "night_low = 8\nday_low = 12\nhumidity = 60",
}


@dataclass(frozen=True)
class Pot:
    """A plant of the file: whatever else the table holds is in more."""

    name: str
    group: str
    home: str = "pergola"
    shelter: str | None = "sunroom"
    night_low: float | None = None
    holder: str = "pot"
    more: str = ""

    def table(self) -> str:
        lines = [f'name = "{self.name}"', f'group = "{self.group}"', f'holder = "{self.holder}"']
        lines += [f'home = "{self.home}"']
        lines += [] if self.shelter is None else [f'shelter = "{self.shelter}"']
        lines += [] if self.night_low is None else [f"limits.night_low = {self.night_low:g}"]
        return "\n".join(["[[plants]]", *lines, *filter(None, [self.more])])


def garden(
    pots: Sequence[Pot],
    *rest: str,
    site: str = MENDOZA,
    spots: dict[str, str] | None = None,
) -> str:
    """Return a collection with these plants, the spots that they need, and more tables.

    spots: other spots, by name, in place of those above or in addition to them.
    """
    known = {name: f"{text}\n{SUN}" for name, text in OUTDOORS.items()}
    known |= {name: f"indoors = true\n{text}" for name, text in INDOORS.items()}
    known |= spots or {}
    used = {pot.home for pot in pots} | {pot.shelter for pot in pots} | set(spots or {})
    told = [f'[spots."{name}"]\n{text}' for name, text in known.items() if name in used]
    return "\n\n".join([site.strip(), *told, *(pot.table() for pot in pots), *rest]) + "\n"


def courtyard() -> str:
    """The packaged example."""
    return (examples() / "courtyard.toml").read_text(encoding="utf-8")


ONE = (Pot("Old cattleya", "cattleya", holder="basket"),)

SIX = (
    Pot("Old cattleya", "cattleya", holder="basket"),
    Pot("Dancing ladies", "oncidium", holder="basket"),
    Pot("Lady of the night", "brassavola", holder="mount"),
    Pot("Clay-pot lime", "citrus tender", "wall bench", "back hall"),
    Pot("Courtyard hibiscus", "hibiscus", "wall bench"),
    Pot("White frangipani", "plumeria", "wall bench"),
)

_FORTY = {
    "pergola": (
        ("Old cattleya", "cattleya", "basket"),
        ("Young cattleya", "cattleya", "basket"),
        ("Dancing ladies", "oncidium", "basket"),
        ("Lady of the night", "brassavola", "mount"),
        ("Blue basket", "vanda strap-leaf", "basket"),
        ("Strap-leaf by the door", "aerides", "basket"),
        ("Grey curls", "tillandsia xeric", "mount"),
        ("Silver curls", "tillandsia xeric", "mount"),
        ("Cork-slab laelia", "laelia mexican", "mount"),
        ("Green-tipped encyclia", "encyclia", "mount"),
    ),
    "wall bench": (
        ("Clay-pot lime", "citrus tender", "pot"),
        ("Kumquat", "citrus hardier", "pot"),
        ("Courtyard hibiscus", "hibiscus", "pot"),
        ("Red hibiscus", "hibiscus", "pot"),
        ("White frangipani", "plumeria", "pot"),
        ("Pink frangipani", "plumeria", "pot"),
        ("Paper vine", "bougainvillea", "pot"),
        ("Boat orchid", "cymbidium", "pot"),
        ("Scarlet reed", "epidendrum reed-stem", "pot"),
        ("Kitchen-door aloes", "aloe", "pot"),
    ),
    "roof terrace": (
        ("Desert rose", "adenium", "pot"),
        ("Desert rose, tall", "adenium", "pot"),
        ("Old-man cactus", "desert cactus", "pot"),
        ("Terrace lemon", "citrus tender", "pot"),
        ("Terrace mandarin", "citrus tender", "pot"),
        ("Orange paper vine", "bougainvillea", "pot"),
        ("Apricot hibiscus", "hibiscus", "pot"),
        ("Yellow frangipani", "plumeria", "pot"),
        ("Scented pelargoniums", "pelargonium", "pot"),
        ("Ivy pelargoniums", "pelargonium", "pot"),
    ),
    "back stairs": (
        ("Wax vine", "hoya cool", "basket"),
        ("Big wax vine", "hoya warm", "basket"),
        ("Stairs monstera", "monstera", "pot"),
        ("Scarlet clivia", "clivia", "pot"),
        ("Orange clivia", "clivia", "pot"),
        ("Moth orchid", "phalaenopsis", "pot"),
        ("Second moth orchid", "phalaenopsis", "pot"),
        ("Gardenia", "gardenia", "pot"),
        ("Fuchsia, hanging", "fuchsia", "basket"),
        ("Queen begonia", "begonia", "pot"),
    ),
}

_TO_THE_HALL = (
    "citrus", "bougainvillea", "cymbidium", "epidendrum", "aloe", "desert", "pelargonium",
    "clivia", "fuchsia", "laelia", "tillandsia",
)  # fmt: skip

FORTY = tuple(
    Pot(
        name,
        group,
        spot,
        "back hall" if group.startswith(_TO_THE_HALL) else "sunroom",
        holder=holder,
    )
    for spot, plants in _FORTY.items()
    for name, group, holder in plants
)
"""Ten plants on each of four spots, for two shelters."""

FEEDS_AND_COURSE = """
[[feeds]]
name = "orchid feed"
npk = "20-20-20"
ppm_n = 50
ec_per_100_ppm_n = 0.4
water_ec = 0.15
every = "1 d"
plants = { group = "cattleya", holder = "basket" }

[[feeds]]
name = "mount feed"
npk = "13-3-15"
ppm_n = 25
water_ec = 0.15
plants = { holder = "mount" }

[[courses]]
name = "magnesium"
salt = "Epsom salt"
grams_per_litre = 0.4
water_ec = 0.15
times = 3
rinse_after = "20 min"
plants = { group = ["oncidium", "vanda strap-leaf"] }
"""

FEED = """
[feed]
npk = "20-20-20"
ppm_n = 50
ec_per_100_ppm_n = 0.4
water_ec = 0.15
"""
