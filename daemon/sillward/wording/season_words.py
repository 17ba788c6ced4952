"""The season of a plant in words: what it is, and the water that goes with it."""

from datetime import date
from typing import Any

from sillward.wording.voice import Voice
from sillward_rules.plants.season_memory import SeasonMemory
from sillward_rules.weather.season import Season


def water(season: Season, *, rests_dry: bool) -> str:
    """Return how a plant is watered and fed in a season."""
    if season is Season.REST:
        return "kept dry, no feed" if rests_dry else "little water, no feed"
    return "usual water and feed" if season is Season.GROWING else "less water, feed half as often"


def told(memory: SeasonMemory, today: date, voice: Voice, *, rests_dry: bool) -> str:
    """Return a season with its first day, if that is known: "rest since Tue 12 May: ..."."""
    season = "at rest" if memory.season is Season.REST else memory.season.value
    since = "" if memory.came_from is None else f" since {voice.day(memory.since)}"
    seen = ", as growth was seen" if memory.is_seen(today) else ""
    return f"{season}{since}{seen}: {water(memory.season, rests_dry=rests_dry)}"


def document(memory: SeasonMemory | None, today: Season) -> dict[str, Any]:
    """Return what is remembered of a season as plain types; nothing where none is."""
    if memory is None:
        return {}
    return {
        "season_since": None if memory.came_from is None else str(memory.since),
        "season_today": today.value,
    }
