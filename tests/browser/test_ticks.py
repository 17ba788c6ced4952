"""Ticks sent by the script of the page: what is shown is what the server holds, come what may."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from playwright.sync_api import Locator, Page, Request, Route, expect

from sillward.page.keys import key_of
from sillward.page.server import PageServer
from sillward_rules.chore import ChoreKind, only
from tests.support import browsing
from tests.support.browsing import Phone

FIRST = "pergola to sunroom"
"""The way of the first order of the packaged example."""

ANSWER = "**/answer"


@pytest.fixture
def phone(phone: Phone) -> Phone:
    """A phone whose clock stands still unless a test moves it."""
    stop_the_clock(phone)
    phone.open()
    phone.page.evaluate("document.stays = true")
    return phone


def stop_the_clock(phone: Phone) -> None:
    """Let time in the browser pass only when a test says so."""
    phone.page.clock.install(time=0)
    phone.page.clock.pause_at(3_600_000)  # which a slow machine has not reached by itself


def tick(phone: Phone, words: str = FIRST) -> Locator:
    """Press the large button of a card that is to do, and return the button."""
    button = phone.card(words).locator("button.wide")
    button.click()
    return button


def is_done(phone: Phone, words: str = FIRST) -> None:
    """Wait until a card says that it is done."""
    expect(phone.card(words).locator(".tag")).to_contain_text("done")


def is_to_do(phone: Phone, words: str = FIRST) -> None:
    expect(phone.card(words).locator("button.wide")).to_be_visible()


def not_loaded_anew(page: Page) -> None:
    assert page.evaluate("document.stays") is True


def posts(phone: Phone) -> list[Request]:
    """The answers that a phone sends from now on."""
    sent: list[Request] = []
    phone.context.on("request", lambda one: sent.append(one) if one.method == "POST" else None)
    return sent


def pass_time(page: Page, until: Callable[[], bool]) -> None:
    """Let a second after the other pass in the browser, until something is so."""
    for _ in range(200):
        if until():
            return
        page.clock.run_for(1_000)
    pytest.fail("it never came")


def wait_for(page: Page, so: Callable[[], bool]) -> None:
    """Let the browser report what happens, while its clock stands, until something is so."""
    for _ in range(5_000):
        if so():
            return
        page.evaluate("0")
    pytest.fail("it never came")


def test_a_tick_changes_the_card_and_loads_nothing_anew(phone: Phone) -> None:
    tick(phone)
    is_done(phone)
    not_loaded_anew(phone.page)


def test_what_was_said_stays_above_the_navigation_for_a_while_and_can_be_taken_back(
    phone: Phone,
) -> None:
    tick(phone)
    said = phone.page.locator("#said")
    expect(said).to_contain_text("Carry in, done: ")
    phone.page.clock.run_for(1_000)  # a second tap in the same moment would not count
    said.get_by_role("button", name="Take that back").click()
    is_to_do(phone)
    not_loaded_anew(phone.page)
    phone.page.clock.run_for(60_000)
    expect(said).to_be_empty()


def test_pressed_twice_is_sent_once(phone: Phone) -> None:
    sent = posts(phone)
    phone.card(FIRST).locator("button.wide").evaluate(
        "button => { button.click(); button.click() }"
    )
    is_done(phone)
    assert len(sent) == 1


def test_a_form_of_another_page_is_sent_once_and_again_if_nothing_came_of_it(phone: Phone) -> None:
    page = phone.open(f"spots/{key_of('pergola')}")
    sent = posts(phone)
    page.route("**/readings", lambda route: route.fulfill(status=204))  # the page stays
    page.get_by_label("The thermometer shows").fill("7.5")
    note = page.get_by_role("button", name="Note it")
    note.click()
    note.click()
    wait_for(page, lambda: len(sent) > 0)
    assert len(sent) == 1
    page.clock.run_for(15_000)
    note.click()
    wait_for(page, lambda: len(sent) == 2)


def test_a_second_tap_does_not_hit_the_card_that_slid_under_the_thumb(phone: Phone) -> None:
    sent = posts(phone)
    tick(phone)
    is_done(phone)
    settled = phone.page.locator("article.settled")
    before = settled.count()
    next_button = phone.page.locator("button.wide").first
    next_button.click()
    next_button.click()
    assert len(sent) == 1
    phone.page.clock.run_for(1_000)
    next_button.click()
    expect(settled).to_have_count(before + 1)
    assert len(sent) == 2


def test_a_tick_without_a_connection_stays_to_do_and_says_so(phone: Phone) -> None:
    phone.context.set_offline(True)
    tick(phone)
    complaint = phone.card(FIRST).get_by_role("alert")
    pass_time(phone.page, complaint.is_visible)
    expect(complaint).to_contain_text("Not confirmed: no connection")
    is_to_do(phone)
    phone.context.set_offline(False)
    tick(phone)
    is_done(phone)
    phone.forgive_failed_requests()


def test_an_answer_that_got_lost_is_asked_for_again_and_counts_once(phone: Phone) -> None:
    def lose(route: Route) -> None:
        route.fetch(max_redirects=0)  # the server writes it down
        route.abort()

    sent = posts(phone)
    phone.page.route(ANSWER, lose, times=1)
    with phone.page.expect_event("requestfailed"):
        tick(phone)
    pass_time(phone.page, lambda: len(sent) == 2)
    is_done(phone)
    assert sent[1].post_data == sent[0].post_data
    not_loaded_anew(phone.page)
    phone.forgive_failed_requests()


def test_a_server_that_is_killed_between_tap_and_answer_is_asked_when_it_is_back(
    phone: Phone, server: PageServer
) -> None:
    desk, port = server.application._desk, server.bound_port

    def kill(route: Route) -> None:
        route.fetch(max_redirects=0)
        server.close()
        route.abort()

    phone.page.route(ANSWER, kill, times=1)
    with phone.page.expect_event("requestfailed"):
        tick(phone)
    complaint = phone.card(FIRST).get_by_role("alert")
    pass_time(phone.page, complaint.is_visible)
    with browsing.serving(desk, port):
        tick(phone)
        is_done(phone)
        not_loaded_anew(phone.page)
        phone.forgive_failed_requests()


def test_a_slow_answer_keeps_the_button_busy_and_other_cards_wait_their_turn(phone: Phone) -> None:
    held: list[Route] = []
    phone.page.route(ANSWER, lambda route: held.append(route), times=1)
    button = tick(phone)
    expect(button).to_have_attribute("aria-busy", "true")
    is_to_do(phone)
    tick(phone, "wall bench to sunroom")
    wait_for(phone.page, lambda: len(held) == 1)
    held[0].continue_()
    is_done(phone)
    is_done(phone, "wall bench to sunroom")


def test_the_plants_that_were_unticked_stay_to_do(phone: Phone) -> None:
    card = phone.card(FIRST)
    card.get_by_label("Blue basket").uncheck()
    tick(phone)
    is_done(phone)
    assert phone.page.locator("article:has(button.wide)").filter(has_text="Blue basket").count()


def test_ticks_and_folds_of_other_cards_stay_as_they_are(phone: Phone) -> None:
    other = phone.card("wall bench to sunroom")
    other.get_by_label("Wax vine").uncheck()
    other.get_by_text("Later, or not needed").click()
    tick(phone)
    is_done(phone)
    expect(other.get_by_label("Wax vine")).not_to_be_checked()
    expect(other.get_by_role("button", name="I leave them out")).to_be_visible()


def test_an_old_page_says_nothing_of_plants_that_joined_meanwhile(
    phone: Phone, server: PageServer
) -> None:
    desk = server.application._desk
    with desk.open() as context:
        site = context.site.name
        (order,) = [
            kept.chore
            for kept in context.ledger.chores.of_day(site, context.site.local_date(context.clock()))
            if "Blue basket" in kept.plants and kept.kind is ChoreKind.CARRY_IN
        ]
        fewer = only(order, [name for name in order.plants if name != "Blue basket"])
        context.ledger.chores.write(site, "dusk", fewer)
    phone.open()
    with desk.open() as context:
        context.ledger.chores.write(site, "dusk", order)
    tick(phone)
    is_done(phone)
    to_do = phone.page.locator("article:has(button.wide)").filter(has_text=FIRST)
    expect(to_do.locator(".choice")).to_have_text(re.compile("Blue basket"))


def test_a_tick_by_keyboard_goes_on_from_where_it_was(phone: Phone) -> None:
    phone.card(FIRST).locator("button.wide").focus()
    phone.page.keyboard.press("Enter")
    is_done(phone)
    expect(phone.page.locator("h1")).to_be_focused()


def test_what_is_read_stays_in_its_place_when_somebody_else_ticks(
    phones: tuple[Phone, Phone],
) -> None:
    one, other = phones
    stop_the_clock(one)
    for phone in phones:
        phone.open()
    last = one.card("wall bench to back hall")
    last.evaluate("card => card.scrollIntoView({block: 'start'})")
    before = last.bounding_box()
    tick(other)
    is_done(other)
    one.page.clock.run_for(61_000)
    is_done(one)
    after = last.bounding_box()
    assert before is not None
    assert after is not None
    assert after["y"] == pytest.approx(before["y"], abs=1)


def test_the_keyboard_stays_where_it_is_when_the_page_is_looked_at_anew(
    phone: Phone, server: PageServer
) -> None:
    context = server.application._desk.context
    clock = context.clock
    link = phone.page.get_by_role("link", name="While you are away")
    link.focus()
    context.clock = lambda: clock() + timedelta(minutes=1)
    phone.page.clock.run_for(61_000)
    expect(phone.page.get_by_text("14 May 2026, 17:17")).to_be_visible()
    expect(link).to_be_focused()


def test_what_is_refused_says_why_and_shows_what_is_true(phone: Phone, server: PageServer) -> None:
    for box in phone.card(FIRST).get_by_role("checkbox").all():
        box.uncheck()
    tick(phone)
    expect(phone.card(FIRST).get_by_role("alert")).to_contain_text("no plant is ticked")
    is_to_do(phone)
    phone.forgive_failed_requests()


def test_two_phones_tick_at_once_and_both_show_the_truth(phones: tuple[Phone, Phone]) -> None:
    one, other = phones
    held: list[Route] = []
    for phone, words in ((one, FIRST), (other, "wall bench to sunroom")):
        stop_the_clock(phone)
        phone.open()
        phone.page.route(ANSWER, lambda route: held.append(route), times=1)
        tick(phone, words)
    wait_for(one.page, lambda: len(held) == 2)
    for route in held:
        route.continue_()
    is_done(one)
    is_done(other, "wall bench to sunroom")
    for phone in phones:
        phone.page.clock.run_for(61_000)
        is_done(phone)
        is_done(phone, "wall bench to sunroom")


def test_the_same_order_ticked_on_two_phones_is_done_once(phones: tuple[Phone, Phone]) -> None:
    for phone in phones:
        phone.open()
    for phone in phones:
        tick(phone)
    for phone in phones:
        is_done(phone)


def test_a_page_without_a_connection_says_when_it_was_shown_until_it_is_back(phone: Phone) -> None:
    stale = phone.page.locator("#stale")
    phone.context.set_offline(True)
    pass_time(phone.page, stale.is_visible)
    expect(stale).to_have_text("Shown at 17:16. No connection.")
    phone.context.set_offline(False)
    pass_time(phone.page, lambda: not stale.is_visible())
    is_to_do(phone)
    phone.forgive_failed_requests()


def test_a_phone_that_slept_says_at_once_that_it_is_old(phone: Phone) -> None:
    held: list[Route] = []
    phone.page.route(phone.address, lambda route: held.append(route))
    phone.page.clock.fast_forward("03:00:00")
    expect(phone.page.locator("#stale")).to_contain_text("Shown at 17:16. Looking for what is new")
    wait_for(phone.page, lambda: bool(held))
    held[0].continue_()
    expect(phone.page.locator("#stale")).to_be_hidden()


def test_what_somebody_else_ticked_waits_while_a_card_is_being_filled_in(
    phones: tuple[Phone, Phone],
) -> None:
    one, other = phones
    stop_the_clock(one)
    for phone in phones:
        phone.open()
    one.card(FIRST).get_by_label("Blue basket").uncheck()
    tick(other, "wall bench to sunroom")
    is_done(other, "wall bench to sunroom")
    one.page.clock.run_for(61_000)
    show = one.page.get_by_role("button", name="Show it")
    expect(show).to_be_visible()
    expect(one.card(FIRST).get_by_label("Blue basket")).not_to_be_checked()
    is_to_do(one, "wall bench to sunroom")
    show.click()
    is_done(one, "wall bench to sunroom")
