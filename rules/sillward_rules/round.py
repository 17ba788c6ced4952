"""The rounds of a grower, and how much is said after one: what others need to know of them who do
not look ahead.
"""

from datetime import timedelta
from enum import Enum


class Round(Enum):
    """An occasion on which the grower is told."""

    DUSK = "dusk"
    MORNING = "morning"
    WEEK = "week"


MOVED_BY = timedelta(minutes=20)
"""A change of an hour by no more than this is not told. Judgement."""

MAX_MESSAGES = 6
"""The most messages of a round to a channel, changes and reminders included. Judgement."""
