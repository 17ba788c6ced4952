"""The questions about spots: outdoors by what covers them, indoors by how cold they get."""

from collections.abc import Callable

import click

from sillward.config.models import Celsius, Text
from sillward.setup.answers import BREEZES, COVERS, IndoorAnswer, OutdoorAnswer, SpotAnswer
from sillward.setup.prompts import NONE, ask, choose, number, valid


def ask_spots() -> list[SpotAnswer]:
    """Ask for spots outdoors and indoors until there is at least one."""
    spots: list[SpotAnswer] = []
    while not spots:
        click.echo("\nSpots outdoors, such as a bench, a pergola, a balcony")
        _add_spots(spots, "bench", _ask_outdoors)
        click.echo("\nSpots indoors, where plants are carried to on cold nights")
        _add_spots(spots, "house", _ask_indoors)
        if not spots:
            click.echo("  there must be one spot at least")
    return spots


def _add_spots(
    spots: list[SpotAnswer], usual_name: str, ask_about: Callable[[str], SpotAnswer]
) -> None:
    def read_name(typed: str) -> str | None:
        if typed in ("", NONE):
            return None
        if typed in [spot.name for spot in spots]:
            msg = "there is a spot of this name"
            raise ValueError(msg)
        return valid(Text, typed)

    name = ask(f"Its name ({NONE} for none)", read_name, usual_name)
    while name is not None:
        spots.append(ask_about(name))
        name = ask("Another one (Enter: no more)", read_name)


def _ask_outdoors(name: str) -> SpotAnswer:
    cover = choose("What is above it?", [cover.question for cover in COVERS], default=2)
    breeze = choose("And the wind?", [breeze.question for breeze in BREEZES], default=2)
    return OutdoorAnswer(name, COVERS[cover], BREEZES[breeze])


def _ask_indoors(name: str) -> SpotAnswer:
    def read(typed: str) -> float | None:
        return number(typed, Celsius, "°C") if typed else None

    return IndoorAnswer(name, ask("How cold does it get, °C? (Enter: not known)", read))
