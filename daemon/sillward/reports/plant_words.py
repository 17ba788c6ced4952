"""What is known of a plant besides its diary, in words: where it stands, its limits, its nights."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sillward.ledger import StoredChore
from sillward.reports.json_encoding import plain
from sillward.reports.reading_noted import LAST_YEAR
from sillward.service.plant_nights import PlantNight
from sillward.wording import season_words
from sillward.wording.voice import Voice, capital
from sillward_rules.plants import size
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a plant stands, and how that is known.

    Args:
        since: from when on, in words; empty if that is not known.
        known: whether somebody has said so. Otherwise the advice is taken as followed, or it is
            taken to be at its home.
    """

    spot: str
    since: str
    known: bool


def standing(plant: Plant, state: PlantState | None, now: datetime, voice: Voice) -> Standing:
    """Return where a plant stands now."""
    if state is None:
        return Standing(plant.home, "", known=False)
    there = state.at(now)
    since = "" if there.since is None or there.since > now else when(there.since, now, voice)
    return Standing(there.spot, since, known=not there.assumed)


def season(plant: Plant, state: PlantState | None, now: datetime, voice: Voice) -> str:
    """Return the season of a plant as the last morning round has left it; empty if not known."""
    memory = None if state is None else state.care.season
    if memory is None:
        return ""
    today = voice.local(now).date()
    return capital(season_words.told(memory, today, voice, rests_dry=plant.rests_dry))


def sized(plant: Plant) -> str:
    """Return a plant's pot, what it weighs in it and how wide it is, as far as that is known."""
    known = []
    if (pot := plant.pot) is not None:
        (weight,) = size.weights_kg([plant]).tolist()
        of = f"{pot.litres:g} L of {pot.medium}{' in a dark pot' if pot.dark else ''}"
        known.append(f"{of}, about {weight:.2g} kg just watered")
        if size.is_heavy(weight):
            known.append("two people or a trolley to carry it")
    if plant.span_cm is not None:
        known.append(f"{plant.span_cm:g} cm across")
    return capital("; ".join(known))


def size_document(plant: Plant) -> dict[str, Any]:
    """Return the same as plain types; nothing where the grower has given neither."""
    pot, span = plant.pot, plant.span_cm
    document: dict[str, Any] = {}
    if pot is not None:
        document["pot"] = {"litres": pot.litres, "medium": pot.medium, "dark": pot.dark}
        document["weight_kg"] = plain(float(size.weights_kg([plant])[0]))
    if span is not None:
        document["span_cm"] = span
    return document


def when(at: datetime, now: datetime, voice: Voice) -> str:
    """Return a time in the past: "today 17:10", "Wed 13 May 17:10", "Wed 13 May 2024, 17:10"."""
    if voice.local(at).date() == voice.local(now).date():
        return f"today {voice.hour(at)}"
    if now - at > LAST_YEAR:
        return f"{voice.day(at)} {voice.local(at).year}, {voice.hour(at)}"
    return voice.date_and_hour(at)


def unbroken(value: str) -> str:
    """Return a value that stays on one line with its unit."""
    return value.replace(" ", "\u00a0")


def limit_name(name: str) -> str:
    """Return how a limit is called: "Night low", "VPD high"."""
    return capital(name.replace("_", " ")).replace("Vpd", "VPD")


def limit_value(value: float | str, unit: str, voice: Voice) -> str:
    """Return the value of a limit with its unit."""
    if isinstance(value, str):
        return value
    return unbroken(voice.bound(value, unit).replace("umol m-2 s-1", "µmol/m²/s"))


@dataclass(frozen=True, slots=True)
class NightRow:
    """A night of a plant in words.

    Args:
        stood: where it stood.
        came: what was expected, what a thermometer showed, and its limit.
        is_under: whether the thermometer went below the limit.
    """

    night: str
    stood: str
    came: tuple[str, ...]
    is_under: bool
    orders: tuple[str, ...]


def night_rows(nights: Sequence[PlantNight], now: datetime, voice: Voice) -> list[NightRow]:
    """Return past nights in words."""
    return [
        NightRow(
            voice.day(night.day),
            _where(night),
            tuple(_values(night, voice)),
            night.is_under,
            tuple(_what_came(order, now, voice) for order in night.orders),
        )
        for night in nights
    ]


def _where(night: PlantNight) -> str:
    if len(night.spots) > 1:
        return f"{' or '.join(night.spots)}, not confirmed"
    return night.spots[0] if night.is_known else f"{night.spots[0]}, assumed"


def _values(night: PlantNight, voice: Voice) -> Iterator[str]:
    if night.told_c is not None:
        yield f"expected {unbroken(voice.degrees(night.told_c))}"
    if night.read_c is not None:
        yield f"read {unbroken(voice.degrees(night.read_c))}"
    if night.limit_c is not None:
        yield f"limit {unbroken(voice.bound(night.limit_c))}"


def _what_came(order: StoredChore, now: datetime, voice: Voice) -> str:
    what = voice.say("kind", name=order.kind.value)
    if order.done_at is not None:
        return f"{what}: done {voice.clock_of_day(order.done_at, order.before)}"
    if order.called_off_at is not None:
        return f"{what}: called off"
    if not order.open:
        return f"{what}: not needed, you said"
    return f"{what}: not confirmed"


def watered(state: PlantState | None, now: datetime, voice: Voice) -> Mapping[str, str]:
    """Return when a plant was last misted, fed and rinsed, as far as that is known."""
    if state is None:
        return {}
    there = state.at(now)
    last = {"misted": there.misted_at, "fed": there.fed_at, "rinsed": there.rinsed_at}
    return {what: when(at, now, voice) for what, at in last.items() if at is not None}
