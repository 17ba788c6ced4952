"""The trial of a channel: a message that asks for nothing, sent as real notices are."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import Enum

from sillward.channels.sender import Sender
from sillward.config.channel import Channel
from sillward.errors import DeliveryError
from sillward.text.columns import Column, Mark, Marked, Screen, table
from sillward.wording.message_length import MAX_CHARACTERS
from sillward.wording.push import Links, Message
from sillward.wording.voice import Voice

TITLE = "Test of sillward: nothing to do"


class State(Enum):
    """What became of a trial."""

    SENT = "sent"
    FAILED = "failed"
    MAYBE = "maybe sent"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came back from one channel."""

    channel: str
    state: State
    why: str
    """Empty if it was sent."""
    took_s: float


LINKED = "Below is how you answer real ones. Here it changes nothing: try it."


def message(
    channel: Channel, voice: Voice, now: datetime, sheet: str | None, links: Links | None = None
) -> Message:
    """Return the trial as this channel gets it.

    sheet: the full sheet of now; a channel that is told in full gets it as an example.
    links: what lets one try to answer; None if messages carry no links.
    """
    told = f"{voice.day(now)} {voice.local(now).year} {voice.hour(now)}"
    length = f"at most {MAX_CHARACTERS} characters"
    lines = [
        f"Channel {channel.name} of {voice.site.label}, {told}.",
        f"Real ones ({channel.told}) come "
        f"{'in full' if channel.full_length else f'in short, {length}'}.",
    ]
    if links is not None:
        lines.append(LINKED)
    if channel.full_length and sheet is not None:
        lines += ["Below, as an example, is the current sheet.", "", sheet]
    return Message(TITLE, "\n".join(lines), links=links)


def send_trial(
    channel: Channel,
    trial: Message,
    sender: Sender,
    monotonic: Callable[[], float] = time.monotonic,
) -> Outcome:
    """Send a trial once and return what came back, without any URL in it."""
    began = monotonic()
    state, why = State.SENT, ""
    try:
        sender(channel, trial)
    except DeliveryError as error:
        state = State.MAYBE if error.perhaps_sent else State.FAILED
        why = str(error).removeprefix(f"channel {channel.name}: ")
    except Exception as error:  # a defect must not keep the other channels from theirs
        state, why = State.FAILED, f"failed ({type(error).__name__})"
    return Outcome(channel.name, state, why, monotonic() - began)


def line(outcome: Outcome, channels: Sequence[Channel], screen: Screen) -> str:
    """Return an outcome as a row, in columns with those of the other channels that are tried."""
    widest_name = max(len(channel.name) for channel in channels)
    widest_state = max(len(state.value) for state in State)
    good = outcome.state is State.SENT
    state = Marked(outcome.state.value.ljust(widest_state), Mark.OK if good else Mark.TROUBLE)
    took = f"{outcome.took_s:.1f} s".rjust(len("99.9 s"))
    row = (outcome.channel.ljust(widest_name), state, took, outcome.why)
    fixed = Column(fixed=True)
    return "\n".join(table([row], (fixed, fixed, fixed, Column()), screen))
