"""Situations while somebody else looks after the plants: what is told of it, and the list."""

from dataclasses import replace
from datetime import timedelta

from sillward.service import absences
from sillward.text.units import SI, Units
from sillward.wording import helper_list
from tests.support.collection_files import SIX, courtyard, garden
from tests.support.situations.dusk import COLD, MILD
from tests.support.situations.situation import US, Told, said, situation
from tests.support.staged_day import CHANNELS, StagedDay, staged_day

HELPER = '\n[[channels]]\nname = "ines"\nurl = "json://localhost/ines"\nrounds = []\n'


def left(units: Units, collection: str, days: int = 9) -> StagedDay:
    """From tomorrow on Inés looks after the plants; it is ten in the morning."""
    played = staged_day(collection, "10:00", MILD, units=units, channels=f"{CHANNELS}{HELPER}")
    first = played.day + timedelta(days=1)
    last, note = first + timedelta(days=days), "The key hangs behind the door."
    absences.enter(played.desk.context, first, last, "Inés", "ines", note)
    return played


def told(played: StagedDay, title: str) -> Told:
    """Return the last push with this title."""
    pushes = [push for push in played.pushes if push.title == title]
    return replace(said(played), push=pushes[-1])


@situation("push-away", imperial=True, full_in=(SI, US))
def somebody_helps(units: Units) -> Told:
    """The evening before; in full, the list that Inés gets."""
    played = left(units, courtyard())
    played.sleep("17:20")
    (absence,) = absences.not_over(played.desk.context)
    shown = absences.list_for(played.desk.context, absence)
    return replace(told(played, "Inés is being told too"), full=helper_list.text(shown))


@situation("push-away")
def nobody_helps_any_more(units: Units) -> Told:
    """The morning after the last night."""
    played = left(units, garden(SIX), days=0)
    played.sleep("17:20")
    played.sleep("10:00", 2)
    return told(played, "Inés is no longer told")


@situation("push-away")
def a_helper_cannot_be_told(units: Units) -> Told:
    """Her channel was taken out of the collection."""
    played = left(units, garden(SIX))
    played.wire.sky = COLD
    played.sleep("17:20")
    household = played.desk.context.household
    own = tuple(channel for channel in household.channels if channel.name != "ines")
    played.desk.take_over(replace(household, channels=own))
    played.sleep("10:00", 1)
    return told(played, "Inés cannot be told what to do")
