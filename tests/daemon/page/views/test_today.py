"""The page Today: what is to do, and what a person answers, on the packaged example."""

import re
from dataclasses import replace
from datetime import datetime, timedelta
from html import unescape

import pytest
from werkzeug.test import TestResponse

from sillward.assembly import demo_page
from sillward.page.keys import key_of
from sillward.page.routes import ROUTES
from tests.support.pages import REAL, Visitor

SUNROOM = "2026-05-14-carry-in-pergola-to-sunroom"
SIX = (
    "Blue basket",
    "Dancing ladies",
    "Lady of the night",
    "Old cattleya",
    "Strap-leaf by the door",
    "Grey curls",
)


@pytest.fixture
def visitor() -> Visitor:
    return Visitor()


def card_of(text: str, chore: str) -> str:
    """The card on which a chore can be answered; empty if there is none."""
    cards = re.findall(r"<article.*?</article>", text, re.DOTALL)
    return next((card for card in cards if f'name="chore" value="{chore}"' in card), "")


def ticked(card: str) -> list[str]:
    return [unescape(name) for name in re.findall(r'name="plant" value="(.*?)" checked', card)]


def settled(text: str, chore: str) -> str:
    """The card of a chore that was answered."""
    cards: list[str] = re.findall(r"<article.*?</article>", text, re.DOTALL)
    return next(card for card in cards if f'id="chore-{key_of(chore)}"' in card)


def numbers_in(text: str) -> list[str]:
    """The answers that can be taken back there."""
    return re.findall(r'name="answer" value="(\d+)"', text)


def answer(visitor: Visitor, what: str, *plants: str, chore: str = SUNROOM) -> TestResponse:
    return visitor.post("/answer", chore=chore, answer=what, plant=list(plants))


def state_of(visitor: Visitor, plant: str) -> tuple[str, bool]:
    """Where a plant stands by the ledger, and whether an order for it is open."""
    with visitor.desk.open() as context:
        state = context.states()[plant]
    return state.spot, state.asked is not None


def at_hour(visitor: Visitor, hour: str) -> Visitor:
    """Let the clock show another time, with nothing told or fetched meanwhile."""
    with visitor.desk.open() as context:
        moment = datetime.fromisoformat(hour).replace(tzinfo=context.site.zone)
        context.clock = context.forecasts.clock = lambda: moment
    return visitor


def open_cards(text: str) -> list[str]:
    """The cards above the fold of what is done and over."""
    return re.findall(r"<article.*?</article>", text.partition("Done and over")[0], re.DOTALL)


def test_at_dusk_no_plant_is_to_go_out() -> None:
    visitor = Visitor(demo_page.page_desk("mild-week", now=REAL))
    text = visitor.get()

    assert "carry-in" in str(re.findall('name="chore" value="(.*?)"', text))
    assert not [card for card in open_cards(text) if "Put out" in card]
    assert "Warms to" not in text
    assert "Put out" not in visitor.says("/plants")
    over = card_of(text, "2026-10-06-carry-out-sunroom-to-pergola")
    assert "its hours are over" in over
    assert "They are out" in over


def test_the_morning_after_without_a_new_forecast_asks_and_puts_nothing_out(
    visitor: Visitor,
) -> None:
    answer(visitor, "done", *SIX[:5])
    text = at_hour(visitor, "2026-05-15T10:00").get()

    assert "<h1>Did 10 plants go in last night?</h1>" in text
    (grey_curls,) = (card for card in open_cards(text) if "Did Grey curls go in" in card)
    assert "It went in" in grey_curls
    assert "It stayed out" in grey_curls
    assert "fell to" in grey_curls
    assert not [card for card in open_cards(text) if "Put out" in card]
    assert "Nothing is urgent" not in text

    assert answer(visitor, "not-needed", "Grey curls").status_code == 303
    assert state_of(visitor, "Grey curls") == ("pergola", False)


def test_what_lies_ahead_is_not_ticked() -> None:
    visitor = Visitor(demo_page.page_desk("mild-week", now=REAL))
    answer(visitor, "done", *SIX, chore="2026-10-06-carry-in-pergola-to-sunroom")
    text = at_hour(visitor, "2026-10-07T06:30").get()

    ahead = card_of(text, "2026-10-07-carry-out-sunroom-to-pergola")
    assert "This lies ahead: tick what is done already" in ahead
    assert 'name="plant" value="Blue basket">' in ahead
    assert ticked(ahead) == []
    assert 'class="wide quiet"' in ahead


def test_before_dusk_it_says_when_it_is_told_what_must_go_in(visitor: Visitor) -> None:
    assert "you will be told what must go in tonight" not in visitor.says()
    assert "At 17:1" in at_hour(visitor, "2026-05-14T12:00").says()


def test_what_was_said_last_names_what_is_left(visitor: Visitor) -> None:
    answer(visitor, "done", *SIX[:5])

    assert "Carry in, done: 5 plants. Still to do: Grey curls" in visitor.says()


def test_the_recipe_of_the_feed_is_on_its_card() -> None:
    visitor = Visitor(demo_page.page_desk("mild-week", now=REAL))

    assert "With the misting: 0.25 g/L 20-20-20" in visitor.says()


def test_what_is_to_do_is_shown_most_pressing_first(visitor: Visitor) -> None:
    text = visitor.says()

    assert "Carry in 6 plants now, 9 more by 18:10" in text
    assert text.index("pergola to sunroom") < text.index("wall bench to back hall")
    assert "Leaves cool to 4.0 °C by tomorrow 08:00; Blue basket needs 14 °C" in text
    assert "A forecast is not a promise" in text


def test_all_plants_of_an_order_are_ticked_to_begin_with(visitor: Visitor) -> None:
    assert ticked(card_of(visitor.get(), SUNROOM)) == list(SIX)


def test_done_is_done_for_the_plants_that_were_ticked_and_the_rest_stays_to_do(
    visitor: Visitor,
) -> None:
    reply = answer(visitor, "done", *SIX[:4])

    assert (reply.status_code, reply.headers["Location"]) == (303, "/")
    text = visitor.get()
    assert ticked(card_of(text, SUNROOM)) == list(SIX[4:])
    assert "Carry in, done: " in text
    assert state_of(visitor, SIX[0]) == ("sunroom", False)
    assert state_of(visitor, SIX[5])[1]


def test_done_twice_is_done_once(visitor: Visitor) -> None:
    first, again = answer(visitor, "done", *SIX), answer(visitor, "done", *SIX)

    assert (first.status_code, again.status_code) == (303, 303)
    with visitor.desk.open() as context:
        deeds = context.ledger.deeds.latest(context.site.name, 10)
    assert [deed.what for deed in deeds] == ["done"]


def test_an_answer_can_be_taken_back(visitor: Visitor) -> None:
    answer(visitor, "done", *SIX)

    text = visitor.get()
    assert card_of(text, SUNROOM) == ""
    (number,) = set(numbers_in(text))
    for _ in range(2):  # sent twice, it is taken back once
        assert visitor.post("/undo", answer=number).status_code == 303
        assert ticked(card_of(visitor.get(), SUNROOM)) == list(SIX)
        assert state_of(visitor, SIX[0])[1]
    with visitor.desk.open() as context:
        deeds = context.ledger.deeds.latest(context.site.name, 10)
    assert [deed.what for deed in deeds] == ["taken back", "done"]


def test_a_note_hides_no_answer_that_can_be_taken_back(visitor: Visitor) -> None:
    answer(visitor, "done", *SIX)
    before = numbers_in(visitor.get())
    visitor.post(f"/plants/{key_of(SIX[0])}/notes", text="a new root")

    assert numbers_in(visitor.get()) == before


def test_a_press_that_is_sent_late_takes_back_no_later_answer(visitor: Visitor) -> None:
    answer(visitor, "done", *SIX)
    (number,) = set(numbers_in(visitor.get()))
    visitor.post("/undo", answer=number)
    answer(visitor, "done", *SIX)

    assert visitor.post("/undo", answer=number).status_code == 303

    assert not state_of(visitor, SIX[0])[1]


def test_what_is_taken_back_is_the_answer_that_was_shown(visitor: Visitor) -> None:
    """Somebody else has answered for the others of the same chore since."""
    answer(visitor, "done", *SIX[:2])
    (shown,) = set(numbers_in(visitor.get()))
    answer(visitor, "done", *SIX[2:])

    for _ in range(2):
        assert visitor.post("/undo", answer=shown).status_code == 303

    assert state_of(visitor, SIX[0])[1]
    assert not state_of(visitor, SIX[2])[1]


@pytest.mark.parametrize("number", ["", "x", "-1", "1.5", "\u0663", "9" * 40])
def test_what_is_no_answer_cannot_be_taken_back(number: str, visitor: Visitor) -> None:
    assert visitor.post("/undo", answer=number).status_code == 400


def test_nothing_is_taken_down_while_it_would_be_written_over(visitor: Visitor) -> None:
    visitor.get()
    visitor.desk.obstacle = lambda: "the ledger cannot be written"
    places = [route.rule for route in ROUTES if route.method == "POST" and route.is_kept]

    assert {"/answer", "/undo", "/plants/<key>/move"} <= set(places)
    for place in places:
        told = visitor.post(re.sub("<.*?>", "1", place))
        assert told.status_code == 503, place
        assert "Nothing can be written down just now" in told.text
    assert visitor.post("/sign-out").status_code != 503
    assert state_of(visitor, SIX[0])[1]


def test_an_answer_for_some_plants_can_be_taken_back_at_its_own_card(visitor: Visitor) -> None:
    answer(visitor, "done", *SIX[:4])
    answer(visitor, "not-needed", *SIX[4:])

    (number,) = numbers_in(settled(visitor.get(), f"{SUNROOM}-done"))
    assert visitor.post("/undo", answer=number).status_code == 303

    assert ticked(card_of(visitor.get(), f"{SUNROOM}-done")) == list(SIX[:4])
    assert not state_of(visitor, SIX[4])[1]


def test_not_needed_leaves_the_plant_where_it_is_and_in_sight(visitor: Visitor) -> None:
    answer(visitor, "not-needed", "Grey curls")

    text = visitor.says()
    assert "left out, you said at 17:16" in text
    assert "Left out, as you said: Grey curls. Still to do: Blue basket, " in text
    assert state_of(visitor, "Grey curls") == ("pergola", False)


def test_what_was_declined_by_older_numbers_is_not_declined(visitor: Visitor) -> None:
    (shown,) = re.findall(r'name="told" value="(.*?)"', card_of(visitor.get(), SUNROOM))
    with visitor.desk.open() as context:
        ledger, site, now = context.ledger, context.site.name, context.clock()
        kept = ledger.chores.get(site, SUNROOM)
        assert kept is not None
        ledger.keep_change(
            site,
            kept.round,
            1,
            context.site.local_date(now),
            now,
            notices=[],
            chores=[(replace(kept.chore, before=kept.before - timedelta(minutes=5)), now)],
            called_off=[],
            states_once_delivered={},
        )

    def say(what: str, told: str) -> TestResponse:
        return visitor.post("/answer", chore=SUNROOM, answer=what, plant=list(SIX), told=told)

    refused = say("not-needed", shown)
    assert refused.status_code == 422
    assert "has changed since this page was shown" in refused.text
    assert ticked(card_of(visitor.get(), SUNROOM)) == list(SIX)
    (now_shown,) = re.findall(r'name="told" value="(.*?)"', card_of(visitor.get(), SUNROOM))
    assert say("not-needed", now_shown).status_code == 303
    assert card_of(visitor.get(), SUNROOM) == ""


def test_later_puts_the_reminder_off_and_the_order_stays_to_do(visitor: Visitor) -> None:
    assert answer(visitor, "later", *SIX).status_code == 303

    assert "you are reminded at 17:46" in visitor.says()
    assert ticked(card_of(visitor.get(), SUNROOM)) == list(SIX)

    (number,) = set(numbers_in(visitor.get()))
    assert visitor.post("/undo", answer=number).status_code == 303
    assert "you are reminded" not in visitor.says()


@pytest.mark.parametrize(
    ("what", "chore", "plants", "status", "reason"),
    [
        ("done", SUNROOM, (), 422, "no plant is ticked"),
        ("done", SUNROOM, ("Somebody else's fern",), 422, "no plant is ticked"),
        ("done", "2026-05-14-carry-in-nowhere", SIX, 422, "no longer needs doing"),
        ("done", "", SIX, 422, "no longer needs doing"),
        ("burn", SUNROOM, SIX, 400, ""),
    ],
)
def test_what_cannot_be_answered_changes_nothing(
    visitor: Visitor, what: str, chore: str, plants: tuple[str, ...], status: int, reason: str
) -> None:
    before = visitor.get()

    reply = answer(visitor, what, *plants, chore=chore)

    assert reply.status_code == status
    assert reason in reply.text
    assert visitor.get() == before


def test_a_form_from_elsewhere_changes_nothing(visitor: Visitor) -> None:
    before = visitor.get()
    fields = {"chore": SUNROOM, "answer": "done", "plant": list(SIX)}

    for headers, token in (
        ({}, ""),
        ({}, "0" * 64),
        ({"Origin": "http://elsewhere.example"}, visitor.form_token),
        ({"Sec-Fetch-Site": "cross-site"}, visitor.form_token),
    ):
        data = {"form_token": token} | fields
        reply = visitor.client.post("/answer", data=data, headers=headers)
        assert reply.status_code == 403, headers
    assert visitor.get() == before
