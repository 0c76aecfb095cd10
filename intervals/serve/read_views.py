"""Pages to read: what is due, the page of a month, and the form that asks for the passphrase.

In: requests. Out: pages. Nothing is written here.
"""

from __future__ import annotations

import secrets
from itertools import groupby

from flask import Flask, g, redirect, request, session
from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response

from intervals.findings import Finding, Findings
from intervals.serve.desk_of_server import Served, typed
from intervals.urgency import by_urgency

_SESSION_BYTES = 32
_NEWER = (
    '<p role="status">This page is from the date that it shows, and a newer one is being made. '
    '<a href="">Load it again</a> in a moment.</p>'
)
_WRONG = "That is not the passphrase."
_OFTEN = "Too many tries. Wait a minute."
_OLD = "This page was open for too long. Enter the passphrase again."


def add_read_views(app: Flask, served: Served) -> None:
    """Add the pages to read to an application.

    Args:
        app: the application.
        served: what it serves.
    """
    app.add_url_rule("/", "due", lambda: _due(served), methods=["GET"])
    app.add_url_rule("/month", "this_month", lambda: redirect(f"/month/{served.site.months()[-1]}", 303), methods=["GET"])
    app.add_url_rule("/month/<month>", "month", lambda month: _month(served, month), methods=["GET"])
    app.add_url_rule("/month/<month>/engines/<name>", "engine", lambda month, name: _engine(served, month, name), methods=["GET"])
    app.add_url_rule("/enter", "enter", lambda: _ask(served), methods=["GET"])
    app.add_url_rule("/enter", "entered", lambda: _entered(served), methods=["POST"])
    app.add_url_rule("/leave", "leave", lambda: _leave(served), methods=["POST"])


def _due(served: Served) -> str:
    """Return the page of what needs doing, engine by engine, the engine with the most urgent task first."""
    due = served.site.due()
    return served.draw(
        "due", due=due, engines=engines_of(due.findings), make_token=served.form_token("make"), months=served.site.months()[::-1]
    )


def engines_of(findings: Findings) -> list[tuple[str, list[Finding]]]:
    """Return what needs doing of each engine, the most urgent first."""
    needed = [finding for finding in by_urgency(findings.findings) if finding.standing != "in_interval"]
    order = {engine: place for place, engine in enumerate(dict.fromkeys(finding.engine for finding in needed))}
    placed = sorted(needed, key=lambda finding: order[finding.engine])
    return [(engine, list(some)) for engine, some in groupby(placed, key=lambda finding: finding.engine)]


def _month(served: Served, month: str) -> str:
    """Return the page of a month, as the report has made it; where a newer one is being made, with a line that says so."""
    page, is_old = served.site.month(month)
    if is_old:
        page = page.replace("<body>", f"<body>{_NEWER}", 1)
    g.report_page = page
    return page


def _engine(served: Served, month: str, name: str) -> str:
    """Return the page of one engine of a fleet, as the report of a month has made it."""
    page = served.site.engine_page(month, name)
    if page is None:
        raise NotFound
    g.report_page = page
    return page


def _ask(served: Served, notice: str | None = None) -> str:
    """Return the form that asks for the passphrase."""
    return served.pages.draw("enter", token=served.form_token("enter"), notice=notice)


def _entered(served: Served) -> Response | tuple[str, int]:
    """Let in whoever has the passphrase, into a session of their own."""
    if served.passphrase is None:
        return redirect("/", 303)
    if not served.entering.admits(request.remote_addr or ""):
        return _ask(served, _OFTEN), 429
    if not served.has_form_token("enter"):
        return _ask(served, _OLD), 403
    if not served.passphrase.is_(typed("passphrase")):
        return _ask(served, _WRONG), 403
    session.clear()
    session["id"], session["in"] = secrets.token_urlsafe(_SESSION_BYTES), True
    session.permanent = True
    return redirect("/", 303)


def _leave(served: Served) -> Response:
    """End the session, if its own page asks for it."""
    if served.has_form_token("leave"):
        session.clear()
    return redirect("/enter" if served.passphrase is not None else "/", 303)
