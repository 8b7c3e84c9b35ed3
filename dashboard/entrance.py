"""The addresses that let a browser in: the one `underfoot serve` prints, and an invitation.

The printed one opens the pages at once. An invitation first says for whom it is and asks for one tap: what
only looks at a link that somebody was sent, a mail filter or a messenger's preview, does not use it up.
"""

from collections.abc import Awaitable, Callable
from http import HTTPStatus

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from dashboard import admitted, document, location, readers
from dashboard import elements as st
from dashboard.text.catalogue import _, mark, use
from warehouse import access_log, browsers
from warehouse.errors import AccessError, UnderfootError
from warehouse.home import Home
from warehouse.sign_ins import LONGEST

MOST_DEVICE = 200  # letters of what a browser says of itself
ELSEWHERE = mark(
    "This address works only on the machine that serves the pages; ask the head coach for an invitation."
)
START = "Sign-in"


async def start(request: Request) -> Response:
    """Let in whoever started the pages, on this machine."""
    if not location.on_this_machine(st.get_option("server.address"), _peer(request), request.headers):
        raise AccessError(_(ELSEWHERE))
    home, token = readers.home(), request.query_params.get("key", "")
    if not browsers.read(home, token).on_this_machine:
        raise AccessError(_(browsers.NOT_GOOD))
    return _let_in(request, home, token)


async def invitation(request: Request) -> Response:
    """Say for whom an invitation is; with a tap, let the browser in."""
    home = readers.home()
    if request.method == "POST":
        _check_same_site(request)
        token = str((await request.form()).get("key", ""))
        if browsers.read(home, token).on_this_machine:
            raise AccessError(_(browsers.NOT_GOOD))
        return _let_in(request, home, token)
    token = request.query_params.get("key", "")
    found = browsers.read(home, token)
    if found.on_this_machine or found.person is None:
        raise AccessError(_(browsers.NOT_GOOD))
    name = readers.reader(home, found.person).viewer.display_name
    return _page(HTTPStatus.OK, academy=home.settings().name, name=name, key=token)


def _let_in(request: Request, home: Home, token: str) -> Response:
    device = request.headers.get("user-agent", "")[:MOST_DEVICE]
    secret = browsers.let_in(home, token, device)
    answer = RedirectResponse("/", status_code=HTTPStatus.SEE_OTHER)
    answer.set_cookie(
        admitted.cookie_name(home), secret,
        max_age=int(LONGEST.total_seconds()), httponly=True, samesite="lax",
        secure=location.is_encrypted(), path="/",
    )  # fmt: skip
    return answer


def _check_same_site(request: Request) -> None:
    """Refuse a form that another site sent in this browser's name."""
    # As the pages send no referrer, browsers say the origin "null" here; what they say of the site is whole.
    said, origin = request.headers.get("sec-fetch-site"), request.headers.get("origin")
    if said is not None:
        same = said in {"same-origin", "none"}
    else:
        same = origin is None or origin.partition("://")[2] == request.headers.get("host")
    if not same:
        raise AccessError(_(browsers.NOT_GOOD))


def _peer(request: Request) -> str | None:
    return request.client.host if request.client else ""


def _page(status: HTTPStatus, **content: object) -> Response:
    shown = {"academy": "Underfoot", "sentence": ""} | content
    return HTMLResponse(document.render("invitation.html", **shown), status, {"cache-control": "no-store"})


def _answering(
    answer: Callable[[Request], Awaitable[Response]],
) -> Callable[[Request], Awaitable[Response]]:
    """An answer in the academy's language, or the sentence that it raises; a refusal is logged."""

    async def answered(request: Request) -> Response:
        access_log.came_from.set(_peer(request))
        try:
            home = readers.home()
            if home.settings_file.exists():
                use(home.settings().language)
            return await answer(request)
        except AccessError as refusal:
            access_log.refused(readers.home(), START, str(refusal))
            return _page(HTTPStatus.FORBIDDEN, sentence=_(str(refusal)))
        except UnderfootError as error:
            return _page(HTTPStatus.CONFLICT, sentence=str(error))

    return answered


ROUTES = (
    Route("/start", _answering(start)),
    Route("/invitation", _answering(invitation), methods=["GET", "POST"]),
)
