"""The server as an application: what is looked at before each request, what every answer carries, and what is said when something is wrong.

In: requests. Out: pages. Refuses, before anything else is looked at: too many requests, requests for another server, posts that no page of
this server has sent, and whoever has not entered.
"""

from __future__ import annotations

import sys
from datetime import timedelta

from flask import Flask, Response, g, redirect, request, session
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from intervals.problems import ProblemsError, on_one_line
from intervals.serve.card_views import add_card_views, text_on_page
from intervals.serve.desk_of_server import Served
from intervals.serve.guards import headers_of_page, headers_of_report, is_from_here
from intervals.serve.judge_thread import BusyError
from intervals.serve.month_process import StoppedProcessError
from intervals.serve.read_views import add_read_views
from intervals.serve.upload_views import UPLOAD, UPLOAD_TYPE, add_upload_views

MOST_BODY_BYTES = 512_000
"""A request holds no more than this beside its headers."""
MOST_PARTS = 10
"""A form with a file has no more parts than this."""
SESSION_LASTS = timedelta(hours=12)
COOKIE = "intervals"
_FORM_TYPE = "application/x-www-form-urlencoded"
_TOO_MANY, _BUSY, _FORBIDDEN, _WRONG_SERVER, _WRONG_TYPE, _FAULT, _CANNOT = 429, 503, 403, 421, 415, 500, 422
_FREE_WITHOUT_ENTERING = "/enter"
_SAID = {
    400: ("Bad request", "The request cannot be read."),
    404: ("Not here", "There is no such page."),
    405: ("Not here", "This page cannot be asked for like that."),
    413: ("Too large", "The request is larger than anything that this server takes."),
}


def make_app(served: Served) -> Flask:
    """Return the application of a server.

    Args:
        served: what it serves.
    """
    app = Flask("intervals.serve", static_folder=None, template_folder=None)
    app.config.update(
        SECRET_KEY=served.key,
        SESSION_COOKIE_NAME=COOKIE,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Strict",
        PERMANENT_SESSION_LIFETIME=SESSION_LASTS,
        MAX_CONTENT_LENGTH=MOST_BODY_BYTES,
        MAX_FORM_MEMORY_SIZE=MOST_BODY_BYTES,
        MAX_FORM_PARTS=MOST_PARTS,
        PROVIDE_AUTOMATIC_OPTIONS=False,
    )
    app.url_map.merge_slashes = False
    app.before_request(lambda: _refused(served))
    app.after_request(lambda response: _guarded(served, response))
    app.register_error_handler(HTTPException, lambda error: _http_page(served, error))
    app.register_error_handler(ProblemsError, lambda error: _problems_page(served, error))
    app.register_error_handler(BusyError, lambda _: _busy_page(served))
    app.register_error_handler(StoppedProcessError, lambda error: _stopped_page(served, error))
    app.register_error_handler(Exception, lambda error: _fault_page(served, error))
    add_read_views(app, served)
    add_card_views(app, served)
    add_upload_views(app, served)
    return app


def _refused(served: Served) -> AnyResponse | None:
    """Return the answer to a request that goes no further; None where it does."""
    if not served.limits.admits(request.remote_addr or ""):
        response = _message(served, _TOO_MANY, "Too many requests", "Wait a minute, then ask again.")
        response.headers["Retry-After"] = "30"
        return response
    if not served.hosts.allows(request.headers.get("Host")):
        return _message(served, _WRONG_SERVER, "Not this server", "The address of the request is not one of this server's own.")
    if request.method == "POST" and request.mimetype != (UPLOAD_TYPE if request.path == UPLOAD else _FORM_TYPE):
        return _message(served, _WRONG_TYPE, "Not a form", "This server takes forms only.")
    if request.method == "POST" and not is_from_here(request.headers):
        return _message(served, _FORBIDDEN, "Not from here", "A page of another site has sent this form. Nothing was written.")
    return _not_entered(served)


def _not_entered(served: Served) -> AnyResponse | None:
    """Return the answer to whoever has not entered; None where they have, or need not."""
    if served.passphrase is None or session.get("in") is True or request.path == _FREE_WITHOUT_ENTERING:
        return None
    if request.method == "POST":
        again = "Enter the passphrase in another window, then go back to this one and send the form again: what was typed is still there."
        return _message(served, _FORBIDDEN, "The passphrase is asked for again", again, onward=("/enter", "Enter the passphrase"))
    return redirect("/enter", 303)


def _guarded(served: Served, response: Response) -> Response:
    """Return an answer with the headers that every one carries."""
    page = g.get("report_page")
    response.headers.update(headers_of_page(served.pages.style) if page is None else headers_of_report(page))
    return response


def _http_page(served: Served, error: HTTPException) -> AnyResponse:
    """Return the page of an error of the request; a redirect stays one."""
    code = error.code or _FAULT
    if error.response is not None or 300 <= code < 400:  # noqa: PLR2004 - redirects
        return error.get_response()
    heading, text = _SAID.get(code, ("This cannot be done", error.name))
    response = _message(served, code, heading, text)
    if code == 405 and getattr(error, "valid_methods", None):  # noqa: PLR2004 - the one that must say what is allowed
        response.headers["Allow"] = ", ".join(sorted(error.valid_methods))  # type: ignore[attr-defined]  # of MethodNotAllowed
    return response


def _problems_page(served: Served, error: ProblemsError) -> Response:
    """Return the page of what cannot be judged."""
    lines = [text_on_page(problem) for problem in error.problems[:20]]
    return _message(served, _CANNOT, "This cannot be judged", *lines)


def _busy_page(served: Served) -> Response:
    """Return the page of a server that has enough to do."""
    response = _message(served, _BUSY, "Busy", "The site is being judged for others. Ask again in a moment. Nothing was written.")
    response.headers["Retry-After"] = "5"
    return response


def _stopped_page(served: Served, error: Exception) -> Response:
    """Return the page of what could not be drawn this time; why stands where the server was started."""
    print(on_one_line(f"intervals serve: {error}"), file=sys.stderr, flush=True)  # noqa: T201 - whoever started the server reads it there
    response = _message(served, _BUSY, "This page could not be drawn", "What draws it was stopped. Ask again; other pages go on.")
    response.headers["Retry-After"] = "5"
    return response


def _fault_page(served: Served, error: Exception) -> Response:
    """Return the page of a fault of the program; what it is stands where the server was started."""
    line = on_one_line(f"intervals serve: an error in the program: {type(error).__name__}: {' '.join(str(error).split())}")
    print(line, file=sys.stderr, flush=True)  # noqa: T201 - whoever started the server reads it there
    return _message(served, _FAULT, "An error in the program", "The terminal in which the server was started says which.")


def _message(served: Served, code: int, heading: str, *lines: str, onward: tuple[str, str] = ("/", "To the first page")) -> Response:
    """Return a page that only says something."""
    return Response(served.pages.draw("message", heading=heading, lines=lines, onward=onward), code, mimetype="text/html")
