"""The questions about a phone: how it is told, and whether a trial has arrived."""

import functools
import re
import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import SecretStr

from sillward.channels.channel_trial import Outcome, State
from sillward.config.channel import Channel, is_mail
from sillward.config.models import RoundName
from sillward.setup.answers import PhoneAnswer
from sillward.setup.dialogue import Deed, Dialogue, Question, ask, do
from sillward.setup.prompts import ask_name_of, name_among

ROUNDS: tuple[RoundName, ...] = ("dusk", "morning", "week", "alarm")

NTFY, URL, LATER = "ntfy", "url", "later"
YES, NO, AGAIN, OTHER, KEEP = "yes", "no", "again", "other", "keep"

TOPIC_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
"""None that is taken for another when it is copied by hand."""

TOPIC_LENGTH = 12
"""59 bits: at a thousand tries a second, ten million years. Judgement: still short to type."""


@dataclass(frozen=True, slots=True)
class Phone:
    """What the questions about a phone need.

    name: what the channel is called.
    file: the credential file for its URL; None if the environment has that.
    kept: its URL, if that is in the file or the environment already.
    topic: one that nobody guesses, for a service on which whoever knows the topic can read along.
    problem: returns what is wrong with the URL of a channel, if anything is.
    send: sends a trial.
    """

    name: str
    file: Path | None
    kept: SecretStr | None
    topic: str
    problem: Callable[[Channel], str | None]
    send: Callable[[Channel], Outcome]

    def channel(self, url: SecretStr) -> Channel:
        """Return the channel with this URL."""
        return Channel(self.name, url, ROUNDS, all_clear=False, full_length=is_mail(url))


def new_topic() -> str:
    """Return a topic that nobody guesses."""
    letters = "".join(secrets.choice(TOPIC_LETTERS) for _ in range(TOPIC_LENGTH))
    return "-".join(["sillward", *re.findall(".{4}", letters)])


def ask_phone(phone: Phone) -> Dialogue[PhoneAnswer | None]:
    """Ask for a phone as a channel, and try it; None for none yet."""
    if phone.kept is not None:
        return (yield from _ask_about_kept(phone, phone.kept))
    above: tuple[str, ...] = (
        "",
        "Your phone. An app on it shows what is sent to a URL of the Apprise library.",
        f"With {NTFY}: install that app, and subscribe in it to this topic, which was made up now:",
        f"  {phone.topic}",
        "Who knows the topic can read along, so show it to nobody.",
    )
    while True:
        text = f"How is it told? ({NTFY}, {URL} for another, {LATER})"
        how = yield from ask(Question(text, _read_way, LATER, above=above))
        if how == LATER:
            return None
        url = SecretStr(f"ntfy://{phone.topic}") if how == NTFY else (yield from _ask_url())
        look = functools.partial(phone.problem, phone.channel(url))
        problem = yield from do(Deed(look, url, "looking at the URL"))
        above = (f"  {problem}",)
        if problem is None:
            above = ()
            said = yield from _try(phone, url, (AGAIN, OTHER, KEEP))
            if said != OTHER:
                return PhoneAnswer(phone.name, url, phone.file, has_arrived=said == YES)


def _ask_about_kept(phone: Phone, url: SecretStr) -> Dialogue[PhoneAnswer]:
    """Ask whether a URL that is kept already is tried."""
    where = f"SILLWARD_CHANNELS__{phone.name.upper()}" if phone.file is None else phone.file
    above = ("", f"Your phone: its URL is in {where}.")
    said = yield from ask_name_of("Send a trial to it?", (YES, NO), YES, above=above)
    if said == YES:
        said = yield from _try(phone, url, (AGAIN, KEEP))
    return PhoneAnswer(phone.name, None, phone.file, has_arrived=said == YES)


def _read_way(typed: str) -> str:
    if "://" in typed:
        msg = f"write {URL}, and then paste it where it is not shown"
        raise ValueError(msg)
    return name_among(typed, (NTFY, URL, LATER))


def _ask_url() -> Dialogue[SecretStr]:
    """Ask for a URL, unseen."""

    def read(typed: str) -> SecretStr:
        if "://" not in typed or not typed.isprintable() or " " in typed:
            msg = "a URL looks like service://..., without blanks"
            raise ValueError(msg)
        return SecretStr(typed)

    return (yield from ask(Question("Paste its URL (it is not shown)", read, is_secret=True)))


def _try(phone: Phone, url: SecretStr, ways_on: Sequence[str]) -> Dialogue[str]:
    """Send a trial until it has arrived (YES), or another way on than AGAIN is chosen."""
    send = functools.partial(phone.send, phone.channel(url))
    tries, said = 0, AGAIN
    while said == AGAIN:
        tries += 1
        about = (url, tries)
        outcome = yield from do(Deed(send, about, "sending a trial"))
        if outcome.state is State.FAILED:
            above = f"  The trial was not sent: {outcome.why}"
            question, choices = "And now?", ways_on
        else:
            above = "  A trial is on its way. It may take a minute."
            question, choices = "Has it arrived?", (YES, *ways_on)
        said = yield from ask_name_of(question, choices, "", above=(above,), about=about)
    return said
