"""A phone as the channel of a new collection: where its URL is kept, and how it is tried."""

import os
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from sillward.channels import channel_trial
from sillward.channels.channel_trial import Outcome
from sillward.channels.sender import Problems, Sender
from sillward.config import households
from sillward.config.channel import Channel
from sillward.config.credentials import channel_file, read_credential
from sillward.config.settings import Settings
from sillward.forecast.store import Clock
from sillward.setup.answers import SiteAnswer
from sillward.setup.phone_questions import Phone
from sillward.setup.writing import can_write_into
from sillward.text.units import Units
from sillward.wording.voice import Voice
from sillward_rules.weather.site import Site

PHONE = "phone"
"""What the channel is called; with a number behind it if another secret has that name."""


@dataclass(frozen=True, slots=True)
class Sending:
    """How channels are looked at and tried."""

    sender: Sender
    problems: Problems
    clock: Clock


def own_phone(
    settings: Settings, sending: Sending, topic: str, path: Path, site: SiteAnswer
) -> Phone:
    """Return what to know of a phone.

    topic: one that nobody guesses, the same whenever this is asked.
    path: the collection file. The URL is kept in the credentials folder, or else beside it.
    """
    place = Site(site.name, site.latitude, site.longitude, site.elevation_m, ZoneInfo(site.zone))
    voice = Voice(place, Units(site.unit))

    def send(channel: Channel) -> Outcome:
        message = channel_trial.message(channel, voice, sending.clock(), None)
        return channel_trial.send_trial(channel, message, sending.sender)

    def problem(channel: Channel) -> str | None:
        return sending.problems([channel])[0]

    settings = settings_for(settings, path)
    in_environment = settings.channels.get(PHONE)
    if in_environment is not None:
        return Phone(PHONE, None, in_environment, topic, problem, send)
    folder = settings.credentials
    if folder is None or not can_write_into(folder):
        folder = path.absolute().parent
    kept = read_credential(folder, channel_file(PHONE))
    name = PHONE if kept is not None else _free_name(folder)
    return Phone(name, folder / channel_file(name), kept, topic, problem, send)


def settings_for(settings: Settings, path: Path) -> Settings:
    """Return the settings that hold for a collection file: in a folder of households, its own."""
    place = households.holding(settings, path)
    return settings if place is None else households.settings_of(settings, place)


def _free_name(folder: Path) -> str:
    """Return the first name of which no credential is there, not even an unreadable one."""
    name, number = PHONE, 1
    while os.path.lexists(folder / channel_file(name)):
        number += 1
        name = f"{PHONE}_{number}"
    return name
