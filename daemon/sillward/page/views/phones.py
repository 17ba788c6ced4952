"""Phones that are told from the page itself, by Web Push: their list, and the service worker."""

from hashlib import sha256

from werkzeug.wrappers import Response

from sillward.channels.push_address import Subscription
from sillward.errors import UsageError
from sillward.page.keys import key_of, named
from sillward.page.route import Access, Route
from sillward.page.static_files import StaticFiles
from sillward.page.visit import Visit
from sillward.service import devices

_WORKER = StaticFiles().files["service-worker.js"]


def phones(visit: Visit) -> Response:
    """List the phones, with a button for the one on which this is read."""
    return _page(visit)


def tell(visit: Visit) -> Response:
    """Have a phone told from now on. What the browser gave is checked."""
    if visit.context.push is None:
        return visit.redirect("phones")
    try:
        to = Subscription.checked(*map(visit.field, ("endpoint", "p256dh", "auth")))
        person = visit.person or visit.field("person")
        devices.add(visit.context, to, person, visit.person)
    except UsageError as error:
        return _page(visit, status=422, problem=str(error))
    return visit.redirect("phones")


def forget(visit: Visit) -> Response:
    """Tell a phone nothing more. Doing it twice is doing it once."""
    context, key = visit.context, visit.field("phone")
    known = {device.name: device for device in context.ledger.devices.of_site(context.site.name)}
    if key in map(key_of, known):
        devices.remove(context, known[named(key, known)], visit.person)
    return visit.redirect("phones")


def worker(visit: Visit) -> Response:
    """Return the service worker of the page.

    It is at the top of the page of its household, since it may only show what is below its own
    address.
    """
    headers = {"Cache-Control": "no-cache"}
    return Response(_WORKER.content, 200, headers, content_type=_WORKER.content_type)


def _page(visit: Visit, *, status: int = 200, problem: str = "") -> Response:
    context, voice = visit.context, visit.voice
    known = context.ledger.devices.of_site(context.site.name)
    return visit.page(
        "phones.html",
        status=status,
        phones=[
            (
                key_of(device.name),
                device.name,
                voice.date_and_hour(device.added_at),
                device.gone_at and voice.date_and_hour(device.gone_at),
                sha256(device.endpoint.encode()).hexdigest(),
            )
            for device in known
        ],
        push=context.push,
        address=context.links.page if context.links else "",
        problem=problem,
        most_person=devices.MAX_PERSON,
    )


ROUTES = (
    Route("/phones", "phones", phones),
    Route("/phones", "tell_phone", tell, method="POST"),
    Route("/phones/remove", "forget_phone", forget, method="POST"),
    Route("/service-worker.js", "service_worker", worker, access=Access.ANYBODY),
)
