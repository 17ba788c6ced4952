"""The pages of many households in one server, each below its own path, built when it is asked for.

Households do not know each other. Nothing here names or counts them: whoever asks for what is not
there, or is for nobody to see, gets one and the same answer. What goes wrong or hangs in one takes
few of the threads that answer all.
"""

import logging
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, Protocol

from werkzeug.exceptions import HTTPException, MethodNotAllowed, NotFound, ServiceUnavailable
from werkzeug.wrappers import Request, Response

from sillward.errors import LedgerError, SillwardError
from sillward.page.guard import Guard, protect
from sillward.page.http_server import Limits
from sillward.page.log_flood import FloodFilter
from sillward.page.refusals import in_words
from sillward.page.rendering import packaged
from sillward.page.static_files import PREFIX
from sillward.page.views.assets import file_named

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication

LIMITS = Limits(threads=16, connections=200)
"""What the server of many households takes. Judgement: at dusk many are told in the same minute,
and look at once; threads that wait cost little."""

MAX_BUILT = 100
"""Pages in memory, those that were asked for last. Measured: 0.5 to 1 MB each with 40 plants,
by how much of it was looked at; to build one anew takes 25 ms."""

AT_ONCE = 6
"""Requests of one household that are answered at once: a browser opens six connections. Others
wait, so that a request that hangs takes no more of the threads than these."""

WAIT_S = 2.0
"""How long a request waits for the others of its household [s]. If one of those takes longer than
that already it does not wait at all. Judgement: far longer than a page takes."""

REFUSED_S = 30.0
"""A page that could not be built is tried again after that time [s]: as often as the folder of
households is looked at."""

log = logging.getLogger(__name__)
log.addFilter(FloodFilter())


@dataclass(frozen=True, slots=True)
class BuiltPage:
    """A page in memory: what answers requests, and what ends it."""

    application: "WSGIApplication"
    close: Callable[[], None]


class Household(Protocol):
    """A household as far as its page is concerned. Any thread may use it."""

    @property
    def is_there(self) -> bool:
        """Whether it still is one of the households."""
        ...

    @property
    def has_page(self) -> bool:
        """Whether it may have a page, as it is looked at for each request."""
        ...

    def build(self) -> BuiltPage:
        """Build its page. Raise LedgerError if that cannot be just now, SillwardError if it cannot
        be at all."""
        ...

    def answered(self) -> None:
        """Note that somebody has said something on its page."""
        ...


@dataclass(slots=True, eq=False)
class _Slot:
    """What is known of the page of a household."""

    household: Household
    page: BuiltPage | None = None
    had_page: bool = False
    building: threading.Lock = field(default_factory=threading.Lock)
    at_work: dict[object, float] = field(default_factory=dict)
    """Since when each of its requests is answered, in seconds of the steady clock."""
    refusal: HTTPException | None = None
    refused_until: float = 0.0


class HouseholdPages:
    """Passes a request on to the household that it is for. Called by several threads at once."""

    def __init__(
        self,
        find: Callable[[str], Household | None],
        guard: Guard,
        max_built: int = MAX_BUILT,
        steady: Callable[[], float] = time.monotonic,
    ) -> None:
        """Begin with no page.

        find: returns the household of a name; None if there is none.
        guard: checks requests for what is no household's.
        steady: returns the seconds of a clock that never goes back.
        """
        self._find, self._guard, self._max_built, self._steady = find, guard, max_built, steady
        self._slots: OrderedDict[str, _Slot] = OrderedDict()
        """By name, the one that was asked for last at the end."""
        self._lock = threading.Lock()
        self._left = threading.Condition(self._lock)
        self._templates = packaged()

    def __call__(self, environ: dict[str, Any], start_response: "StartResponse") -> Iterable[bytes]:
        """Answer one request (PEP 3333)."""
        request = Request(environ)
        try:
            return self._answer(request, start_response)
        except HTTPException as error:
            response = self._refusal(error)
        except BaseException:  # also SystemExit: waitress would never end the request
            log.exception("page.failed")
            response = Response("Something went wrong.\n", 500, content_type="text/plain")
        protect(request, response)
        return response(environ, start_response)

    def close(self) -> None:
        """Close what is in memory."""
        with self._lock:
            slots = list(self._slots.values())
            self._slots.clear()
        for slot in slots:
            _close(slot.page)

    # -- answers

    def _answer(self, request: Request, start_response: "StartResponse") -> Iterable[bytes]:
        self._guard.check_host(request)
        path, environ = request.environ.get("PATH_INFO", ""), request.environ
        name, slash, rest = path[1:].partition("/")
        if path in ("", "/") or path.startswith(PREFIX):
            response = self._own(request, path)
            protect(request, response)
            return response(environ, start_response)
        with self._entered(name) as slot:
            page = self._page_of(name, slot)
            if not slash:
                response = Response(
                    status=HTTPStatus.PERMANENT_REDIRECT, headers={"Location": f"/{name}/"}
                )
                protect(request, response)
                return response(environ, start_response)
            environ["SCRIPT_NAME"], environ["PATH_INFO"] = f"/{name}", f"/{rest}"
            statuses: list[str] = []

            def starting(status: str, *more: Any) -> Any:
                statuses.append(status)
                return start_response(status, *more)

            answer = page.application(environ, starting)
            if request.method == "POST" and statuses[-1:] and statuses[-1][0] in "23":
                slot.household.answered()
            return answer

    def _own(self, request: Request, path: str) -> Response:
        """Return what is the same for everybody."""
        if request.method not in ("GET", "HEAD"):
            raise MethodNotAllowed
        if path.startswith(PREFIX):
            return file_named(path.removeprefix(PREFIX))
        return self._said(200)

    def _refusal(self, error: HTTPException) -> Response:
        response = self._said(error.code or 500, in_words(error))
        if isinstance(error, ServiceUnavailable):
            response.headers["Retry-After"] = "5"
        return response

    def _said(self, status: int, reason: str = "") -> Response:
        text = self._templates.render("by_link.html", reason=reason)
        return Response(text, status, content_type="text/html; charset=utf-8")

    # -- households

    @contextmanager
    def _entered(self, name: str) -> Iterator[_Slot]:
        """Count a request of a household. Raise NotFound, or ServiceUnavailable if too many of its
        requests are on their way."""
        mine = object()
        with self._lock:
            slot = self._slot_of(name)
            until = self._steady() + WAIT_S
            while len(slot.at_work) >= AT_ONCE:
                left_s = until - self._steady()
                hangs = self._steady() - min(slot.at_work.values()) > WAIT_S
                if hangs or left_s <= 0 or not self._left.wait(left_s):
                    # Until it had a page it is not known to be one that has.
                    raise _busy() if slot.had_page else NotFound
            slot.at_work[mine] = self._steady()
        try:
            if not slot.household.has_page:
                raise NotFound
            yield slot
        finally:
            with self._lock:
                del slot.at_work[mine]
                self._left.notify_all()
                gone = self._taken_out(name, slot)
            for page in gone:
                _close(page)

    def _slot_of(self, name: str) -> _Slot:
        """Return the slot of a household, which is a new one if that has come anew."""
        slot = self._slots.get(name)
        if slot is not None and not slot.household.is_there:
            del self._slots[name]  # the last of its requests closes it; else it is at rest
            slot = None
        if slot is None:
            household = self._find(name)
            if household is None:
                raise NotFound
            slot = self._slots[name] = _Slot(household)
        self._slots.move_to_end(name)
        return slot

    def _taken_out(self, name: str, slot: _Slot) -> list[BuiltPage | None]:
        """Take pages out of memory that nobody uses: of households that are gone, and those beyond
        the number that is kept."""
        gone = []
        if self._slots.get(name) is not slot and not slot.at_work:
            gone.append(slot)
        beyond = sum(each.page is not None for each in self._slots.values()) - self._max_built
        for key, each in list(self._slots.items()) if beyond > 0 else ():
            if not each.household.is_there and not each.at_work:
                del self._slots[key]
                gone.append(each)
            elif beyond > 0 and each.page is not None and not each.at_work:
                gone.append(each)
                beyond -= 1
        pages = [each.page for each in gone]
        for each in gone:
            each.page = None
        return pages

    def _page_of(self, name: str, slot: _Slot) -> BuiltPage:
        """Return the page of a household, built at first need. Raise NotFound or ServiceUnavailable
        if there is none."""
        if not slot.building.acquire(timeout=WAIT_S):
            raise _busy()
        try:
            if slot.page is None:
                if slot.refusal is not None and self._steady() < slot.refused_until:
                    raise slot.refusal
                slot.refusal = self._build(name, slot)
                if slot.refusal is not None:
                    slot.refused_until = self._steady() + REFUSED_S
                    raise slot.refusal
            assert slot.page is not None
            return slot.page
        finally:
            slot.building.release()

    def _build(self, name: str, slot: _Slot) -> HTTPException | None:
        """Build a page. Return why there is none; None if there is one."""
        try:
            slot.page = slot.household.build()
        except LedgerError as error:
            log.warning("page.unavailable name=%s reason=%s", name, error)
            return ServiceUnavailable()
        except SillwardError as error:
            log.warning("page.none name=%s reason=%s", name, error)
            return NotFound()
        except Exception:
            log.exception("page.failed name=%s", name)
            return NotFound()
        slot.had_page = True
        return None


def _busy() -> ServiceUnavailable:
    return ServiceUnavailable("The page is busy. Try again in a moment.")


def _close(page: BuiltPage | None) -> None:
    if page is None:
        return
    try:
        page.close()
    except Exception:
        log.exception("page.failed_to_close")
