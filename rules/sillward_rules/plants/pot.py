"""Pots: how much of what medium a plant stands in."""

from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

Medium: TypeAlias = Literal["bark", "moss", "peat", "soil", "mineral"]

MEDIA: tuple[Medium, ...] = get_args(Medium)

RUN_THROUGH = 0.15
"""More is given than is missing by this share of it, so that some runs through and takes salt with
it. Common practice, no source: 10 to 20 %."""


@dataclass(frozen=True, slots=True)
class Pot:
    """A pot or basket with a medium in it.

    - litres: the volume of the medium [L].
    - dark: whether its outside is dark, so that sun heats it.
    """

    litres: float
    medium: Medium
    dark: bool = False
