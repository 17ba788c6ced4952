"""A sender whose attempts end when a test says so, and desks that send through it."""

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field

from sillward.channels.dispatcher import Dispatcher
from sillward.config.channel import Channel
from sillward.errors import DeliveryError
from sillward.service.desk import Desk
from sillward.wording.push import Message
from tests.support.desks import World
from tests.support.fakes import FakeClock


@dataclass
class HeldPost:
    """What was handed over and has not ended yet, and what has arrived."""

    under_way: list[tuple[Channel, Message, "Future[None]"]] = field(default_factory=list)
    arrived: list[tuple[str, str]] = field(default_factory=list)
    """Channel and title."""
    news: list[str] = field(default_factory=list)

    def submit(self, channel: Channel, message: Message) -> "Future[None]":
        future: Future[None] = Future()
        self.under_way.append((channel, message, future))
        return future

    @property
    def channels(self) -> list[str]:
        """The channels that something is under way to."""
        return [channel.name for channel, _, _ in self.under_way]

    def end(self, *names: str, error: Exception | None = None) -> None:
        """Let what is under way end: to these channels, or to all."""
        for one in list(self.under_way):
            channel, message, future = one
            if not names or channel.name in names:
                self.under_way.remove(one)
                if error is None:
                    self.arrived.append((channel.name, message.title))
                    future.set_result(None)
                else:
                    future.set_exception(error)

    def fail(self, *names: str, perhaps_sent: bool = False) -> None:
        self.end(*names, error=DeliveryError("no", perhaps_sent=perhaps_sent))

    def dispatcher(self, clock: FakeClock, **bounds: int) -> Dispatcher:
        return Dispatcher(self.submit, clock, news=self.news.append, **bounds)


def at_once(world: World, dispatcher: Dispatcher) -> Callable[[], Desk]:
    """Return what makes a desk of this world that sends through the dispatcher, as after each
    turn."""

    def desk() -> Desk:
        made = world.desk
        made.context.dispatcher = dispatcher
        return made

    return desk
