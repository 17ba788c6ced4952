"""The questions about a phone: how it is told, and whether a trial has arrived."""

import functools
import re
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pydantic import SecretStr

from sillward.channels.channel_trial import Outcome, State
from sillward.config.channel import Channel, is_mail
from sillward.config.models import RoundName
from sillward.setup.answers import PhoneAnswer
from sillward.setup.dialogue import Deed, Dialogue, Question, ask, do
from sillward.setup.prompts import ask_name_of, name_among

_OF_NTFY = "ntfy://"

ROUNDS: tuple[RoundName, ...] = ("dusk", "morning", "week", "alarm")

NTFY, URL, LATER = "ntfy", "url", "later"
YES, NO, AGAIN, OTHER, KEEP = "yes", "no", "again", "other", "keep"

TOPIC_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
"""None that is taken for another when it is copied by hand."""

TOPIC_LENGTH = 12
"""59 bits: at a thousand tries a second, ten million years. Judgement: still short to type."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A channel whose URL is kept already.

    file: the credential file of its URL; None if the environment has that.
    """

    name: str
    url: SecretStr
    file: Path | None


@dataclass(frozen=True, slots=True)
class Phone:
    """What the questions about a phone need.

    name: what a new channel is called.
    file: the credential file for its URL, which is not there yet.
    kept: a channel whose URL is there already, if any is.
    topic: one that nobody guesses, for a service on which whoever knows the topic can read along.
    problem: returns what is wrong with the URL of a channel, if anything is.
    send: sends a trial.
    """

    name: str
    file: Path
    kept: Kept | None
    topic: str
    problem: Callable[[Channel], str | None]
    send: Callable[[Channel], Outcome]


def _channel(name: str, url: SecretStr) -> Channel:
    return Channel(name, url, ROUNDS, all_clear=False, full_length=is_mail(url))


def new_topic() -> str:
    """Return a topic that nobody guesses."""
    letters = "".join(secrets.choice(TOPIC_LETTERS) for _ in range(TOPIC_LENGTH))
    return "-".join(["sillward", *re.findall(".{4}", letters)])


def ask_phone(phone: Phone) -> Dialogue[PhoneAnswer | None]:
    """Ask for a phone as a channel, and try it; None for none yet."""
    if phone.kept is not None:
        said = yield from _ask_about_kept(phone, phone.kept)
        if said == LATER:
            return None
        if said != OTHER:
            kept = phone.kept
            return PhoneAnswer(kept.name, None, kept.file, has_arrived=said == YES)
    above: tuple[str, ...] = (
        "",
        "Your phone. An app on it shows what is sent to a URL of the Apprise library.",
        f"With {NTFY}: install the app and subscribe to this topic, which was just made up:",
        f"  {phone.topic}",
        "Anyone who knows the topic can read along, so show it to nobody.",
    )
    while True:
        text = f"How should it be reached? ({NTFY}, {URL} for another, {LATER})"
        how = yield from ask(Question(text, _read_way, LATER, above=above))
        if how == LATER:
            return None
        url = SecretStr(f"{_OF_NTFY}{phone.topic}") if how == NTFY else (yield from _ask_url())
        look = functools.partial(phone.problem, _channel(phone.name, url))
        problem = yield from do(Deed(look, url, "looking at the URL"))
        above = (f"  {problem}",)
        if problem is None:
            above = ()
            said = yield from _try(phone, phone.name, url)
            if said == LATER:
                return None
            if said != OTHER:
                return PhoneAnswer(phone.name, url, phone.file, has_arrived=said == YES)


def _ask_about_kept(phone: Phone, kept: Kept) -> Dialogue[str]:
    """Ask whether a URL that is kept already is tried; return what is said of it at last."""
    in_environment = f"SILLWARD_CHANNELS__{kept.name.upper()}"
    above = (
        "",
        f"Your phone: its URL is in {in_environment if kept.file is None else kept.file}.",
        f"{NO}: use it without a trial; {OTHER}: another address or another way, in its place",
    )
    said = yield from ask_name_of("Send it a test message?", (YES, NO, OTHER), YES, above=above)
    if said == YES:
        return (yield from _try(phone, kept.name, kept.url))
    return said


def _read_way(typed: str) -> str:
    if "://" in typed:
        msg = f"write {URL}, and then paste it where it is not shown"
        raise ValueError(msg)
    return name_among(typed, (NTFY, URL, LATER))


def _ask_url() -> Dialogue[SecretStr]:
    """Ask for a URL, unseen."""

    def read(typed: str) -> SecretStr:
        if "://" not in typed or not typed.isprintable() or " " in typed:
            msg = "a URL looks like service://..., without spaces"
            raise ValueError(msg)
        return SecretStr(typed)

    return (yield from ask(Question("Paste its URL (it is not shown)", read, is_secret=True)))


def _try(phone: Phone, name: str, url: SecretStr) -> Dialogue[str]:
    """Send a trial until it has arrived (YES), or another way on than AGAIN is chosen."""
    send = functools.partial(phone.send, _channel(name, url))
    tries, said = 0, AGAIN
    while said == AGAIN:
        tries += 1
        about = (url, tries)
        outcome = yield from do(Deed(send, about, "sending a test message"))
        if outcome.state is State.FAILED:
            above: tuple[str, ...] = (f"  The test message was not sent: {outcome.why}",)
        else:
            on_its_way = "  A test message is on its way. It may take a minute."
            question = "Has it arrived?"
            said = yield from ask_name_of(
                question, (YES, NO), "", above=(on_its_way,), about=about, subject=name
            )
            if said == YES:
                return said
            above = _what_to_look_at(phone, url)
        said = yield from ask_name_of(
            "And now?",
            (AGAIN, OTHER, KEEP, LATER),
            "",
            above=(*above, *_WAYS_ON),
            about=about,
            subject=name,
        )
    return said


_WAYS_ON = (
    f"  {AGAIN}: another trial; {OTHER}: another way, or the address typed anew",
    f"  {KEEP}: go on with this one as it is; {LATER}: go on without a phone",
)


def _what_to_look_at(phone: Phone, url: SecretStr) -> tuple[str, ...]:
    """Return what to look at when no trial is seen. Of a URL that was typed unseen nothing is."""
    if is_mail(url):
        return ("  Look in the spam folder too, and check the address.",)
    same = "  Is the app set up for the address that you typed?"
    if url.get_secret_value() == f"{_OF_NTFY}{phone.topic}":
        same = f"  Is the topic in the app {phone.topic}, letter by letter?"
    return (
        same,
        '  May the app show notifications? Is the phone offline, or on "do not disturb"?',
    )
