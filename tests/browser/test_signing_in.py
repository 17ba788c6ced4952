"""Signing in and out in a real browser, also of somebody who follows a link from elsewhere."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Browser, Page, expect

from sillward.page.server import PageServer
from tests.support import browsing
from tests.support.browsing import Phone
from tests.support.installation import QuietHandler, serve
from tests.support.page_people import Yard, passphrase_of
from tests.support.pages import an_evening


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Yard:
    return Yard(tmp_path_factory.mktemp("passphrases"))


@pytest.fixture(scope="module")
def served(yard: Yard) -> Iterator[PageServer]:
    desk = an_evening()
    with browsing.serving(desk, guard=yard.guard()) as server:
        yield server


@pytest.fixture
def phone(browser: Browser, served: PageServer) -> Iterator[Phone]:
    with browsing.holding(browser, served.address) as phone:
        yield phone


def sign_in(page: Page, passphrase: str) -> None:
    page.get_by_label("Your name").fill("Inés")
    page.get_by_label("Passphrase").fill(passphrase)
    page.get_by_label("Passphrase").press("Enter")


def test_whoever_signs_in_is_where_they_wanted_to_be_and_signs_out_again(phone: Phone) -> None:
    page = phone.open("/spots")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    sign_in(page, "wrong wrong wrong")
    expect(page.get_by_role("alert")).to_have_text("The name or the passphrase is not right.")
    phone.forgive_failed_requests()
    expect(page.get_by_label("Your name")).to_have_value("Inés")
    sign_in(page, passphrase_of("Inés"))
    expect(page).to_have_url(f"{phone.address}spots")

    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    phone.open("/spots")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")


def test_a_tick_after_the_session_has_ended_leads_to_the_form_and_counts_for_nothing(
    phone: Phone,
) -> None:
    page = phone.open("/sign-in")
    sign_in(page, passphrase_of("Inés"))
    button = phone.card("pergola to sunroom").locator("button.wide")
    expect(button).to_be_visible()
    phone.context.clear_cookies()
    button.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
    sign_in(page, passphrase_of("Inés"))
    expect(button).to_be_visible()
    phone.forgive_failed_requests()


@contextmanager
def elsewhere(to: str) -> Iterator[str]:
    """Serve a page of another site, with a link."""

    class Handler(QuietHandler):
        def do_GET(self) -> None:  # noqa: N802
            self.answer(f'<!doctype html><title>Mail</title><a href="{to}">To do</a>'.encode())

    server, port = serve(Handler)
    try:
        yield f"http://localhost:{port}/"  # to a browser another site than 127.0.0.1
    finally:
        server.shutdown()
        server.server_close()


def test_a_link_in_a_mail_leads_whoever_has_signed_in_to_the_page_at_once(phone: Phone) -> None:
    page = phone.open("/sign-in")
    sign_in(page, passphrase_of("Inés"))
    expect(page.get_by_text("Signed in as Inés.")).to_be_visible()

    with elsewhere(f"{phone.address}plants") as mail:
        page.goto(mail)
        page.get_by_role("link", name="To do").click()

        expect(page.get_by_role("heading", level=1)).to_have_text("Plants")
        expect(page.get_by_text("Signed in as Inés.")).to_be_visible()
        phone.complaints[:] = [line for line in phone.complaints if mail not in line]
