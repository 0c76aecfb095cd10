"""A card that was filled in without the server, and saved: its file, `CODE.card.json`, is handed in here.

In: a form with one file. Out: the verdict, with a token of its own; the yes to it is that of every other card. The file is read from the
request and stored nowhere before the yes, under a name that is made of its code. Refuses files of other names, and what is no card of this
site.
"""

from __future__ import annotations

import re

from flask import Flask, request
from werkzeug.datastructures import FileStorage

from intervals.problems import ProblemsError
from intervals.questions.record.handed_in import HandedIn, handed_in_of
from intervals.serve.card_tokens import Waiting
from intervals.serve.card_views import Page, said_page, texts_of, verdict_page
from intervals.serve.desk_of_server import Served

UPLOAD = "/cards/hand-in"
UPLOAD_TYPE = "multipart/form-data"
MOST_UPLOADED_BYTES = 400_000
"""A card of a hundred steps, filled in, has a quarter of that."""
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ()_.-]{0,119}\.json")
"""Such as `CODE.card.json`, or `CODE.card (1).json` where a browser had saved one before."""
_OK, _FORBIDDEN, _CANNOT = 200, 403, 422
_HEADING = "This file cannot be handed in"


def add_upload_views(app: Flask, served: Served) -> None:
    """Add the form's address to an application.

    Args:
        app: the application.
        served: what it serves.
    """
    app.add_url_rule(UPLOAD, "upload", lambda: _uploaded(served), methods=["POST"])


def _uploaded(served: Served) -> Page:
    """Return the verdict on a saved card; nothing is written yet."""
    if not served.has_form_token("upload"):
        return said_page(served, "This page is no longer open here", "Open the cards again, and choose the file once more.", _FORBIDDEN)
    file = request.files.get("card")
    problem = _problem_of(file)
    if file is None or problem:
        return said_page(served, _HEADING, problem, _CANNOT)
    data = file.stream.read(MOST_UPLOADED_BYTES + 1)
    if len(data) > MOST_UPLOADED_BYTES:
        return said_page(served, _HEADING, "It is larger than any card that was filled in.", 413)
    try:
        return _judged(served, data, handed_in_of(data, "the file"))
    except ProblemsError as error:
        return said_page(served, _HEADING, " ".join(texts_of(error)), _CANNOT)


def _problem_of(file: FileStorage | None) -> str:
    """Return what is wrong with a file before it is read; nothing where nothing is."""
    if file is None or not file.filename:
        return "No file was chosen. Choose the one that the card has saved, CODE.card.json."
    if len(request.files.getlist("card")) > 1 or len(request.files) > 1:
        return "Several files were chosen. Hand in one at a time."
    if not _NAME.fullmatch(file.filename):
        return "Its name is not that of a saved card. Choose the file that the card has saved, CODE.card.json."
    return ""


def _judged(served: Served, data: bytes, handed: HandedIn) -> Page:
    """Return the verdict on what a file holds, if it is of a card of this site."""
    card = served.site.shelf.card(handed.code)
    if card is None:
        return said_page(served, _HEADING, "The site keeps no card of this code, or another one under it.", _CANNOT)
    answer = served.site.ask(lambda: served.desk.judge(data))
    session_id = served.session_id()
    token = served.tokens.issue(session_id, card.code)
    waiting = Waiting(card, data, {"by": handed.by or ""}, answer, is_saved=True)
    served.tokens.keep(token, session_id, card.code, waiting)
    return verdict_page(served, token, waiting, _OK)
