"""What growers are told in all situations: unchanged, and what must hold of every message."""

import re

import pytest

from sillward.text.units import SI, Units
from sillward.wording.message_length import MAX_CHARACTERS
from sillward_rules.chore import ChoreKind
from tests.support import text_checks
from tests.support.cases import for_each
from tests.support.paths import GOLDEN
from tests.support.situations.golden import files, golden, path_of
from tests.support.situations.situation import ALL, US, Situation, Told

USUAL = [situation for place, situation in enumerate(ALL) if place % 2 == 0]
REST = [situation for situation in ALL if situation not in USUAL]
"""Situations that are played in American units too, and those that are so in the slow set only."""


def _name(situation: Situation, units: Units | None = None) -> str:
    return f"{situation.name}, {units.temperature}" if units else situation.name


every = for_each(
    [*((situation, SI) for situation in ALL), *((situation, US) for situation in USUAL)],
    _name,
    slow=[(situation, US) for situation in REST],
)
each = for_each(USUAL, _name, slow=REST)


@pytest.mark.parametrize("file", files())
def test_the_messages_are_as_they_were(file: str) -> None:
    """`python -m tests.support.situations` renews them after an intended change."""
    assert golden(file) == path_of(file).read_text(encoding="utf-8")


def test_every_golden_file_belongs_to_a_situation() -> None:
    assert {path.stem for path in GOLDEN.glob("*.txt")} == set(files())


def test_names_of_situations_are_unique() -> None:
    assert len({situation.name for situation in ALL}) == len(ALL)


# -- as such


@every
def test_a_push_is_short_and_plain(situation: Situation, units: Units) -> None:
    told = situation.told(units)

    assert len(told.text) <= MAX_CHARACTERS
    assert text_checks.rough(told.text) == []
    assert told.push.title[:1] == told.push.title[:1].upper()


@every
def test_every_measure_has_its_unit(situation: Situation, units: Units) -> None:
    """The check can fail: once the units are removed, the numbers are found to lack them."""
    told = situation.told(units)

    for line in told.text.splitlines():
        assert text_checks.bare_numbers(line, told.names) == [], line
        forgotten = text_checks.without_units(line)
        assert forgotten == line or text_checks.bare_numbers(forgotten, told.names), line


# -- in the units of the household


@each
def test_a_household_in_american_units_reads_no_others(
    situation: Situation,
) -> None:
    told = situation.told(US)

    assert text_checks.not_american(told.text) == []
    assert text_checks.not_american(told.full or "") == []


@each
def test_both_units_tell_the_same(situation: Situation) -> None:
    """Each temperature, difference, wind and hour agrees, in order and within its rounding."""
    told, american = situation.told(SI), situation.told(US)
    texts = [(told.full or "", american.full or "")]
    # Hours take more room in one of them: then they need not tell the same lines.
    if text_checks.form(told.text) == text_checks.form(american.text):
        texts.append((told.text, american.text))

    for text, other in texts:
        names = told.names
        assert text_checks.paired(
            text_checks.temperatures(text, names),
            text_checks.temperatures(other, names),
            text_checks.converted(1.8, 32),
        )
        differences = text_checks.differences(text), text_checks.differences(other)
        assert text_checks.paired(*differences, text_checks.converted(1.8))
        assert text_checks.paired(
            text_checks.speeds(text), text_checks.speeds(other), text_checks.converted(1 / 0.44704)
        )
        assert text_checks.paired(text_checks.hours(text), text_checks.hours(other), int.__eq__)


def test_the_comparison_of_units_can_fail() -> None:
    """The check can fail: a forgotten conversion, or a difference of a tenth, is found."""
    celsius = text_checks.temperatures("Leaves cool to 2.8 °C by 07:00; Anemone needs 13")

    def pairs(text: str) -> bool:
        return text_checks.paired(
            celsius, text_checks.temperatures(text), text_checks.converted(1.8, 32)
        )

    assert pairs("Leaves cool to 37.0 °F by 7:00 am; Anemone needs 55.4")
    assert not pairs("Leaves cool to 37.0 °F by 7:00 am; Anemone needs 13")
    assert not pairs("Leaves cool to 37.3 °F by 7:00 am; Anemone needs 55.4")
    assert not pairs("Leaves cool to 2.8 °F by 7:00 am; Anemone needs 55.4")


# -- orders


@every
def test_a_watch_shows_what_by_when_and_how_many(situation: Situation, units: Units) -> None:
    told = situation.told(units)

    if told.order:
        assert text_checks.not_at_a_glance(told.push.title) == [], told.push.title


@every
def test_every_plant_that_must_be_carried_is_counted_in_the_title(
    situation: Situation, units: Units
) -> None:
    told = situation.told(units)
    counts = {verb: text_checks.counted(told.push.title, verb) for verb in ("in", "out", "off")}

    if told.order:
        due = {"in": len(told.into), "out": len(told.out), "off": len(told.off)}
        assert counts == due, told.push.title


@every
def test_every_plant_that_must_be_carried_is_named_or_counted_in_its_trip(
    situation: Situation, units: Units
) -> None:
    told = situation.told(units)
    if situation.family in ("push-week", "push-alarms") or not told.order:
        return
    trips = text_checks.trips(told.push.body, told.plants, told.spots)

    for way, plants in (("in", told.into - told.homeless), ("out", told.out)):
        carried, cut = sum(count for direction, count in trips if direction == way), _cut(told)
        left = len(plants) - carried
        assert left == 0 or (cut and 0 < left <= int(cut[2] or 0)), told.text


@every
def test_what_is_left_out_is_counted(situation: Situation, units: Units) -> None:
    """Every chore has a line, or is counted at the end with its plants."""
    told = situation.told(units)
    untold = [
        chore
        for chore in told.chores
        if chore.open
        and (
            not text_checks.tells(told.text, chore, told.at.tzinfo)
            or chore.id in text_checks.repeats_untold(told.text, told.chores, told.at.tzinfo)
        )
    ]
    if not untold or not told.order:
        return
    cut = text_checks.CUT.fullmatch(told.push.body.splitlines()[-1])

    assert cut is not None, told.text
    counted = {
        name for chore in untold if chore.kind not in WITHOUT_PLANTS for name in chore.plants
    }
    if situation.name not in CUT_WHEN_SENT:
        assert int(cut[2] or 0) == len(counted), told.text


WITHOUT_PLANTS = (ChoreKind.STOP_WETTING, ChoreKind.FEED, ChoreKind.FLUSH)
"""Kinds that are told by spot, or together with the misting."""

CUT_WHEN_SENT = ("a lost notice and forty plants",)
"""Situations whose lines are cut only when they are sent: by then the plants are not known, and
lines alone are counted."""


@every
def test_no_warning_is_dropped_silently(situation: Situation, units: Units) -> None:
    told = situation.told(units)
    if told.full is None:
        return
    shown = sum(line.startswith("! ") for line in told.push.body.splitlines())
    if text_checks.TOO_COLD_IN_ONE in told.push.body:
        shown += text_checks.too_cold(told.full) - 1
    if "\nTo answer: " in told.text:
        shown += text_checks.questions(told.full)
    cut = _cut(told)

    assert shown + (int(cut[1]) if cut else 0) >= text_checks.remarks(told.full), told.text


@every
def test_a_reminder_says_how_to_acknowledge(situation: Situation, units: Units) -> None:
    if situation.family == "push-reminders":
        told = situation.told(units)
        for kind in {chore.kind.value for chore in told.chores}:
            assert f"`sillward done {kind}`" in told.push.body


@pytest.mark.parametrize("units", [SI, US], ids=["SI", "US"])
@pytest.mark.parametrize("name", ["a lost notice owned up to", *CUT_WHEN_SENT])
def test_a_lost_notice_is_admitted_on_any_crowded_day(name: str, units: Units) -> None:
    (situation,) = [situation for situation in ALL if situation.name == name]

    assert "! Thu's dusk message could not be sent" in situation.told(units).push.body


# -- the checks can fail


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("In by 17:10: <b>3 plants</b>", "markup"),
        ("In by 17:10: **3 plants**", "markup"),
        ("Not _yet_ done", "markup"),
        ("Read `sheet`", "backticks"),
        ("In by  17:10", "blanks"),
        ("In by 17:10 \nNow", "blanks"),
        ("In by 17:10\n\nNow", "an empty line"),
        ("In by\u200b 17:10", "a control character"),
        ("In by 17:10: None plants", "no word"),
        ("Leaf nan °C", "no word"),
        ("gone in inf min", "no word"),
        ("Leaf -0.0 °C", "minus nought"),
        ("Pergola:, wall", "stops"),
    ],
)
def test_rough_text_is_found(text: str, what: str) -> None:
    assert what in {fault.split(":")[0] for fault in text_checks.rough(text)}


@pytest.mark.parametrize(
    "line",
    [
        "Leaf 2.8 at 07:00, limit 13 (Anemone)",
        "Leaf low (plants in): Thu 4° (6)",
        "feed 6, rinse within 15 min",
        "Wind 12 at 15:00",
    ],
)
def test_a_number_without_unit_or_noun_is_found(line: str) -> None:
    assert text_checks.bare_numbers(line, ["Anemone"])


def test_a_number_in_a_name_is_ignored() -> None:
    assert text_checks.bare_numbers("Keep in: Bench 3 lime", ["Bench 3 lime"]) == []


@pytest.mark.parametrize(
    "text", ["In by 17:10", "4.1 °C", "0.8 K", "at 05:10 am", "5 m/s", "07:10-8:05 am", "13:05 pm"]
)
def test_units_that_are_not_american_are_found(text: str) -> None:
    assert text_checks.not_american(text)


def test_american_hours_are_accepted() -> None:
    assert text_checks.not_american("7:10-8:05 am, 11:30 am-12:15 pm, 12:05 am") == []


@pytest.mark.parametrize(
    ("title", "missing"),
    [
        ("Nothing to carry in tonight", "how many"),
        ("6 plants by 17:10", "what"),
        ("In: 6 plants", "when"),
        ("What was told at dusk has changed again: carry in 6 plants by 17:10", "when"),
    ],
)
def test_what_a_watch_does_not_show_is_found(title: str, missing: str) -> None:
    assert missing in text_checks.not_at_a_glance(title)


def _cut(told: Told) -> re.Match[str] | None:
    return text_checks.CUT.search(told.push.body)
