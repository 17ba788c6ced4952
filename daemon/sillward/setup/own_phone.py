"""A phone as the channel of a new collection: where its URL is kept, and how it is tried."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from pydantic import SecretStr

from sillward.channels import channel_trial
from sillward.channels.channel_trial import Outcome
from sillward.channels.sender import Problems, Sender
from sillward.config import households
from sillward.config.channel import Channel
from sillward.config.credentials import channel_file, read_credential
from sillward.config.settings import Settings
from sillward.forecast.store import Clock
from sillward.setup.answers import SiteAnswer
from sillward.setup.phone_questions import Kept, Phone
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
    folder = settings.credentials
    if folder is None or not can_write_into(folder):
        folder = path.absolute().parent
    name, kept = _names(settings.channels, folder)
    return Phone(name, folder / channel_file(name), kept, topic, problem, send)


def settings_for(settings: Settings, path: Path) -> Settings:
    """Return the settings that hold for a collection file: in a folder of households, its own."""
    place = households.holding(settings, path)
    return settings if place is None else households.settings_of(settings, place)


def _names(channels: Mapping[str, SecretStr], folder: Path) -> tuple[str, Kept | None]:
    """Return the first name of which nothing is kept, and the last channel of which a URL is.

    A credential that cannot be read counts as there, but holds no URL.

    channels: the URLs in the environment.
    """
    name, number, kept = PHONE, 1, None
    while name in channels or os.path.lexists(folder / channel_file(name)):
        found = read_credential(folder, channel_file(name))
        if name in channels:
            kept = Kept(name, channels[name], None)
        elif found is not None:
            kept = Kept(name, found, folder / channel_file(name))
        number += 1
        name = f"{PHONE}_{number}"
    return name, kept
