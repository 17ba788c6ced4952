"""What `sillward status` prints: what was fetched and sent, what is wrong, what comes next."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

from sillward.config.household import Household
from sillward.forecast.store import ForecastStore
from sillward.forecast.updater import ForecastUpdater
from sillward.ledger import Ledger, Notice, NoticeState, StoredChore
from sillward.ledger.tables.readings import ReadingTable
from sillward.readings.forecast_here import UNITS
from sillward.reports.json_encoding import IsoTime, iso_in_zone_of
from sillward.service import due_rounds, sensor_status, updates
from sillward.service.health import TICK_MARK, troubles
from sillward.service.sensor_status import SensorState
from sillward.text.columns import PIPE, Cell, Column, Mark, Marked, Screen, table
from sillward.wording.voice import Voice
from sillward_rules.plants.state import PlantState
from sillward_rules.weather.site import Site

CHORES_BACK = timedelta(hours=12)
"""Chores of rounds up to so long ago are listed: those of the last night and day."""

MAX_NOTICES = 500
"""Of the latest notices, so many are looked at for the counts of the outbox."""

OUTBOX_BACK = timedelta(days=7)
"""What was delivered and what was lost is counted so far back."""

READINGS_BACK = timedelta(days=7)
"""Readings by hand, and what was set aside, are counted so far back."""

# -- for machines


def document(
    household: Household, updater: ForecastUpdater, now: datetime, voice: Voice
) -> dict[str, Any]:
    """Return what the ledger knows, as plain types with times in the site's zone.

    voice: words the troubles among it.
    """
    site, store, ledger = household.collection.site, updater.store, updater.store.ledger
    iso = iso_in_zone_of(site)
    tick = ledger.marks.get(TICK_MARK)
    failed = store.failure()
    upcoming = due_rounds.upcoming(site, household.rounds, now)
    return {
        "schema": 1,
        "site": site.label,
        "at": iso(now),
        "version": updates.running_version(),
        "update": _update_document(updates.latest_update(ledger, now), iso),
        "forecast": _forecast_document(store, site, now, iso),
        "tick": iso(None if tick is None else tick.at),
        "troubles": troubles(household, ledger, store, now, voice),
        "questions": [
            voice.remark(spot.question)
            for spot in household.collection.spots
            if spot.question is not None
        ],
        "outbox": _outbox_counts(ledger.notices.latest(site.name, most=MAX_NOTICES), now),
        "fetch_failed": None if failed is None else {"at": iso(failed.at), "why": failed.text},
        "clock": store.clock_doubt(),
        "readings": _readings_counts(ledger.readings, site, now),
        "mqtt": _mqtt_document(household, ledger, iso),
        "sensors": [
            _sensor_document(state, now, iso)
            for state in sensor_status.states(household, ledger, now)
        ],
        "phones": [
            {"name": device.name, "since": iso(device.added_at), "gone": iso(device.gone_at)}
            for device in ledger.devices.of_site(site.name)
        ],
        "next": {round_.value: iso(occasion.due_at) for round_, occasion in upcoming.items()},
        "notices": [_notice_document(notice, iso) for notice in ledger.notices.latest(site.name)],
        "chores": [
            _chore_document(chore, iso)
            for chore in ledger.chores.due_since(site.name, now - CHORES_BACK)
        ],
        "plants": {
            name: _plant_document(state, now, iso)
            for name, state in ledger.plant_states.of_site(site.name).items()
        },
    }


def _forecast_document(
    store: ForecastStore, site: Site, now: datetime, iso: IsoTime
) -> dict[str, Any] | None:
    best = store.best(site)
    if best is None:
        return None
    return {
        "source": best.source.name,
        "fetched": iso(best.saved.fetched_at),
        "age_minutes": max(0, int(best.weather.age(now) / timedelta(minutes=1))),
        "state": best.weather.freshness(now).value,
    }


def _update_document(update: updates.Update | None, iso: IsoTime) -> dict[str, Any] | None:
    """Return the update of the last week; None if there was none."""
    if update is None:
        return None
    return {
        "at": iso(update.at),
        "version": update.version,
        "before": update.before,
        "news": update.news,
    }


def _mqtt_document(household: Household, ledger: Ledger, iso: IsoTime) -> dict[str, Any] | None:
    """Return how the broker of the sensors is reached; None if there are no sensors."""
    if household.broker is None or not household.sensors:
        return None
    link = sensor_status.link(ledger, household.collection.site.name)
    return {
        "broker": household.broker.address,
        "connected": link is not None and link.state.connected,
        "since": None if link is None else iso(link.since),
        "trouble": "`sillward run` is not listening" if link is None else link.state.trouble,
    }


def _sensor_document(state: SensorState, now: datetime, iso: IsoTime) -> dict[str, Any]:
    age = None if state.last_at is None else now - state.last_at
    return {
        "spot": state.sensor.spot,
        "quantity": state.sensor.quantity.value,
        "sensor": state.sensor.name,
        "value": state.last,
        "unit": UNITS[state.sensor.quantity],
        "at": iso(state.last_at),
        "age_minutes": None if age is None else max(0, int(age / timedelta(minutes=1))),
        "quiet_since": iso(state.quiet_since),
    }


def _outbox_counts(notices: Sequence[Notice], now: datetime) -> dict[str, int]:
    """Return how many notices wait, how many of these have failed so far, and of the last week
    how many were delivered and how many could not be sent in time."""
    waiting = [
        notice for notice in notices if notice.state in (NoticeState.WAITING, NoticeState.SENDING)
    ]
    recent = [notice for notice in notices if now - OUTBOX_BACK <= notice.expires_at]
    return {
        "waiting": len(waiting),
        "failing": sum(notice.attempts > 0 for notice in waiting),
        "delivered": sum(notice.state is NoticeState.SENT for notice in recent),
        "lost": sum(notice.state is NoticeState.EXPIRED for notice in recent),
    }


def _readings_counts(readings: ReadingTable, site: Site, now: datetime) -> dict[str, int]:
    """Return how many sensors there are, and how much was read by hand and set aside of late."""
    since = now - READINGS_BACK
    return {
        "sensors": len({(each.spot, each.name) for each in readings.sensors(site.name)}),
        "by_hand": len(readings.by_hand(site.name, since=since)),
        "set_aside": sum(each.count for each in readings.set_aside_since(site.name, since)),
    }


def _notice_document(notice: Notice, iso: IsoTime) -> dict[str, Any]:
    return {
        "round": notice.round_name,
        "stage": notice.stage,
        "day": notice.day,
        "channel": notice.channel,
        "state": notice.state,
        "attempts": notice.attempts,
        "sent": iso(notice.sent_at),
        "title": notice.title,
        "last_error": notice.last_error,
    }


def _chore_document(chore: StoredChore, iso: IsoTime) -> dict[str, Any]:
    return {
        "id": chore.id,
        "before": iso(chore.before),
        "done": iso(chore.done_at),
        "by": chore.done_by,
        "not_needed": iso(chore.declined_at),
        "called_off": iso(chore.called_off_at),
        "later": iso(chore.later_until),
        "reminded": iso(chore.reminded_at),
    }


def _plant_document(state: PlantState, now: datetime, iso: IsoTime) -> dict[str, Any]:
    """Return where a plant stands now, and where it goes next if the advice is followed."""
    here = state.at(now)
    plant: dict[str, Any] = {"spot": here.spot, "since": iso(here.since), "assumed": state.assumed}
    if here.spot != state.spot:
        plant["next"] = {"spot": state.spot, "at": iso(state.since)}
    return plant


# -- for people

_FACTS = (Column(fixed=True), Column())
_NOTICES = (Column(fixed=True), Column(), Column(), Column(), Column())
_CHORES = (Column(), Column(fixed=True))
_SENSORS = (Column(), Column(fixed=True), Column())
_PLANTS = (Column(), Column())


def text(report: dict[str, Any], voice: Voice, screen: Screen = PIPE) -> str:
    """Return a status document as tables."""
    lines = [*screen.lines(f"{report['site']}, {_date_and_hour(report['at'], voice)}"), ""]
    wrong = [("trouble", Marked(trouble, Mark.TROUBLE)) for trouble in report["troubles"]]
    wrong += [("question", Marked(asked, Mark.TROUBLE)) for asked in report["questions"]]
    lines += table(wrong, _FACTS, screen) or screen.lines("all is well", Mark.OK)
    lines += ["", *table(list(facts(report, voice)), _FACTS, screen)]
    plants = report["plants"].items()
    for name, rows, columns in (
        ("sensors", [sensor_row(sensor, voice) for sensor in report["sensors"]], _SENSORS),
        ("notices", [_notice_row(notice, voice) for notice in report["notices"]], _NOTICES),
        ("chores", [_chore_row(chore, voice) for chore in report["chores"]], _CHORES),
        ("plants", [_plant_row(name, plant, voice) for name, plant in plants], _PLANTS),
    ):
        if rows:
            lines += ["", name, *table(rows, columns, screen, indent=2)]
    if not report["notices"]:
        lines += ["", "no messages so far"]
    return "\n".join(lines)


def facts(report: dict[str, Any], voice: Voice) -> Iterator[tuple[Cell, Cell]]:
    """Yield what was fetched, what waits and what comes next: the subject, and what holds."""
    forecast, failed, outbox = report["forecast"], report["fetch_failed"], report["outbox"]
    if report["update"] is not None:
        since = datetime.fromisoformat(report["update"]["at"])
        update = updates.Update(**report["update"] | {"at": since})
        yield "new", update.line(voice.date_and_hour(since))
    if forecast is None:
        yield "forecast", "none so far"
    else:
        age = voice.age(timedelta(minutes=forecast["age_minutes"]))
        is_old = forecast["state"] != "fresh"
        use = ", too old to judge a night by" if forecast["state"] == "expired" else ""
        at = _date_and_hour(forecast["fetched"], voice)
        fetched = f"{forecast['source']}, fetched {at}, {age}{use}"
        yield "forecast", Marked(fetched, Mark.TROUBLE if is_old else None)
    if failed is not None:
        yield "", f"failed {_date_and_hour(failed['at'], voice)}: {voice.retold(failed['why'])}"
    if report["clock"]:
        yield "clock", Marked(report["clock"], Mark.TROUBLE)
    if report["mqtt"] is not None:
        yield "broker", _broker_cell(report["mqtt"], voice)
    if report["tick"]:
        yield "last tick", f"{_date_and_hour(report['tick'], voice)} (saved every 10 min)"
    failing = f", {outbox['failing']} of them failing" if outbox["failing"] else ""
    lost = f", {outbox['lost']} not" if outbox["lost"] else ""
    yield (
        "messages",
        f"{outbox['waiting'] or 'none'} waiting{failing}; "
        f"in 7 days {outbox['delivered']} sent{lost}",
    )
    readings = report["readings"]
    if any(readings.values()):
        sensors = f"{readings['sensors']} sensor{'' if readings['sensors'] == 1 else 's'}"
        why = "; `sillward readings` says why" if readings["set_aside"] else ""
        yield (
            "readings",
            f"{sensors}; in 7 days {readings['by_hand']} by hand, "
            f"{readings['set_aside']:,} set aside{why}",
        )
    for number, phone in enumerate(report["phones"]):
        told = f"told since {_date_and_hour(phone['since'], voice)}"
        is_gone = phone["gone"] is not None
        what = f"{phone['name']}, {'no longer told' if is_gone else told}"
        yield "" if number else "phones", Marked(what, Mark.TROUBLE if is_gone else None)
    for number, (name, at) in enumerate(report["next"].items()):
        yield "" if number else "next", f"{name:<8}{_date_and_hour(at, voice)}"


def _broker_cell(link: dict[str, Any], voice: Voice) -> Cell:
    since = f" since {_date_and_hour(link['since'], voice)}" if link["since"] else ""
    state = "connected" if link["connected"] else "not connected"
    if link["trouble"] is None:
        return f"{link['broker']}, {state}{since}"
    return Marked(f"{state}{since}: {link['trouble']}", Mark.TROUBLE)


def sensor_row(sensor: dict[str, Any], voice: Voice) -> list[Cell]:
    """Return the spot, the quantity, and the last value with its age, or how long it is quiet."""
    place = [sensor["spot"], sensor["quantity"]]
    if sensor["at"] is None:
        return [*place, Marked("nothing so far", Mark.TROUBLE)]
    value = voice.measure(sensor["value"], sensor["unit"])
    if sensor["quiet_since"]:
        since = _date_and_hour(sensor["quiet_since"], voice)
        return [*place, Marked(f"quiet since {since}, {value} then", Mark.TROUBLE)]
    return [*place, f"{value}, {voice.age(timedelta(minutes=sensor['age_minutes']))}"]


def _notice_row(notice: dict[str, Any], voice: Voice) -> list[Cell]:
    """Return the day, the round or reminder, the channel, the state and the title of a notice."""
    reason = (notice["last_error"] or "").removeprefix(f"channel {notice['channel']}: ")
    why = f"; {reason}" if reason else ""
    sent = f" {_date_and_hour(notice['sent'], voice)}" if notice["sent"] else ""
    tries = f", {notice['attempts']} tries" if notice["attempts"] > 1 else ""
    follows = notice["stage"] in ("reminder", "passed on", "alarm")
    what = f"{notice['round']} {notice['stage']}" if follows else notice["round"]
    fails = bool(reason) and notice["state"] != "not needed"
    state = Marked(f"{notice['state']}{sent}{tries}{why}", Mark.TROUBLE if fails else None)
    return [notice["day"], what, notice["channel"], state, notice["title"]]


def _chore_row(chore: dict[str, Any], voice: Voice) -> list[Cell]:
    by = f" by {chore['by']}" if chore["by"] else ""
    if chore["done"]:
        return [chore["id"], f"done {_date_and_hour(chore['done'], voice)}{by}"]
    if chore["not_needed"]:
        said = _date_and_hour(chore["not_needed"], voice)
        return [chore["id"], f"not needed, said {said}{by}"]
    if chore["called_off"]:
        return [chore["id"], "called off"]
    later = f", put off to {_date_and_hour(chore['later'], voice)}" if chore["later"] else ""
    return [chore["id"], f"open{later}"]


def _plant_row(name: str, plant: dict[str, Any], voice: Voice) -> list[Cell]:
    assumed = " (assumed)" if plant["assumed"] else ""
    after = plant.get("next")
    then = f", {after['spot']} from {_date_and_hour(after['at'], voice)}" if after else ""
    return [name, f"{plant['spot']}{assumed}{then}"]


def _date_and_hour(iso: str, voice: Voice) -> str:
    return voice.date_and_hour(datetime.fromisoformat(iso))


def summary_line(household: Household, wrong: Sequence[str], now: datetime) -> str:
    """Return the state of a site in half a line, for a service manager's list.

    wrong: what is wrong, the worst first.
    """
    site, voice = household.collection.site, household.voice
    upcoming = due_rounds.upcoming(site, household.rounds, now).values()
    first = min(upcoming, key=lambda occasion: occasion.due_at)
    state = wrong[0] if wrong else "all is well"
    return f"{site.label}: {state}; next {first.round.value} {voice.day_and_hour(first.due_at)}"
