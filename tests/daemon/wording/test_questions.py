"""What a push asks of plants: how wet pots are, damage, leaves, limits."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from sillward.wording import short_sheet
from sillward.wording.push import Links, led_to_page
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, ChoreKind, Grounds, Reason
from sillward_rules.remark import DamageAsked, LookAtLeaf, Plain, PotsUnknown, Remark, RootsHot
from sillward_rules.sheet import Round
from tests.daemon.wording.test_water_lines import a_morning, crowded, pushed
from tests.support.summer import NOW, garden

UNKNOWN = PotsUnknown(("Anemone", "Boat"))
DAMAGE = DamageAsked(("Anemone",), date(2026, 1, 14), 6.2, is_read=True)
LEAVES = LookAtLeaf(("Boat",), "magnesium", 14)


def test_questions_are_told_before_what_can_wait() -> None:
    sheet = replace(a_morning(1), warnings=(RootsHot(("Boat",), 48.0, NOW), Plain("x"), UNKNOWN))
    _, *lines = pushed(sheet)

    shade, asked, other = (
        next(number for number, line in enumerate(lines) if word in line)
        for word in ("dark pots", "how wet", "! x")
    )
    assert shade < asked < other


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ((UNKNOWN,), "how wet 2 pots are"),
        ((DAMAGE,), "any damage to 1 plant"),
        ((LEAVES, UNKNOWN), "how wet 2 pots are, the leaves of 1 plant"),
    ],
)
def test_on_a_crowded_day_all_questions_are_one_line(asked: tuple[Remark, ...], told: str) -> None:
    assert f"To answer: {told}" in crowded(a_morning(6), *asked)


@pytest.mark.parametrize("asked", [UNKNOWN, DAMAGE, LEAVES], ids=["pots", "damage", "leaves"])
def test_a_question_is_told_however_many_orders_there_are(asked: Remark) -> None:
    at = NOW.astimezone(garden().site.zone)
    hot = Reason("Boat", "temperature", 44.0, "°C", 42.0, at, "test", above=True)
    shades = tuple(
        Chore(
            f"shade-{hours}",
            ChoreKind.SHADE,
            ("Boat",),
            f"the long spot number {hours} of the garden",
            "",
            None,
            at + timedelta(hours=hours),
            Grounds.of((("Boat",), hot)),
        )
        for hours in range(1, 9)
    )

    lines = pushed(replace(a_morning(1), at=at, chores=shades, warnings=(asked,)))

    assert any(line.startswith("To answer") for line in lines)
    assert lines[-1].startswith("+")


def test_a_message_with_a_link_leads_to_the_page() -> None:
    voice = Voice(garden().site)
    sheet = replace(a_morning(1), round=Round.WEEK, warnings=(DAMAGE, UNKNOWN))
    told = replace(short_sheet.message(sheet, voice), links=Links((), "https://a.example", ()))
    line = voice.say("to_answer", asked=[("pots", 2)], where=True)
    message = replace(told, body=f"{line}\n{told.body}")

    assert led_to_page(message, voice).body.startswith(
        "To answer: how wet 2 pots are: see the page"
    )
