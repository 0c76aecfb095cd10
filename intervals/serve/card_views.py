"""Cards: the list, the form of one, its verdict, and the yes after which it is written.

In: requests. Out: pages; with a yes, records. A token writes once: whoever sends the same again is shown that, and nothing is written.
"""

from __future__ import annotations

import sys
from hashlib import sha256

from flask import Flask, abort, redirect, request
from werkzeug.wrappers import Response

from intervals.language.words import LANGUAGES
from intervals.problems import ProblemsError
from intervals.questions.card.card_models import Card
from intervals.questions.card.card_words import words_in
from intervals.questions.record.record_models import RecordDocument, verdicts_of
from intervals.serve.card_form import GRADES, TypedCard
from intervals.serve.card_tokens import TokenState, Waiting
from intervals.serve.desk_of_server import Served, typed

Page = tuple[str, int]
_OK, _AGAIN, _FORBIDDEN, _CANNOT = 200, 409, 403, 422
MOST_TASKS = 50
_KNOWN = "This card was handed in before. Where something of it is left to do, a later card completes it."
_BEFORE = "This card was handed in before. Nothing was written."
_OLD = "This form is no longer open here. What was typed is still below: look it through and hand it in again. Nothing was written."
_CHANGED = "Something was recorded since the verdict was shown, and it is different now. Nothing was written yet: look at it again."
_OTHER = "This form was handed in again since, in another window. Nothing was written yet: this is its verdict now."
_NO_LOG = "The log of the server, records/serve.log, cannot be written."


def add_card_views(app: Flask, served: Served) -> None:
    """Add the pages of cards to an application.

    Args:
        app: the application.
        served: what it serves.
    """
    app.add_url_rule("/cards", "cards", lambda: _list(served), methods=["GET"])
    app.add_url_rule("/cards", "make", lambda: _make(served), methods=["POST"])
    app.add_url_rule("/card/<code>", "card", lambda code: _open(served, code), methods=["GET"])
    app.add_url_rule("/card/<code>", "hand_in", lambda code: _hand_in(served, code), methods=["POST"])
    app.add_url_rule("/card/<code>/confirm", "confirm", lambda code: _confirm(served, code), methods=["POST"])


def _list(served: Served) -> str:
    """Return the list of cards, with a form for one that was saved."""
    return served.draw("cards", cards=served.site.shelf.listed(), upload_token=served.form_token("upload"))


def _make(served: Served) -> Response | Page:
    """Make a card of an engine and some of its tasks, and lead to it."""
    if not served.has_form_token("make"):
        return said_page(served, "This page is no longer open here", "Go back to what needs doing, and ask again.", _FORBIDDEN)
    engine, tasks = typed("engine"), request.form.getlist("task")[:MOST_TASKS]
    if not engine or not tasks:
        return said_page(served, "Nothing was ticked", "Go back, and tick the tasks that are to stand on the card.", _CANNOT)
    language = typed("language") if typed("language") in LANGUAGES else "en"
    code = served.site.ask(lambda: served.desk.make_card(engine, tasks, language))
    return redirect(f"/card/{code}", 303)


def _open(served: Served, code: str) -> str | Page:
    """Return the form of a card, with a token of its own."""
    card = _card(served, code)
    notices = (_KNOWN,) if served.site.shelf.is_handed_in(card.code) else ()
    return _form(served, card, TypedCard(card, {}), _OK, *notices)


def _hand_in(served: Served, code: str) -> Page:
    """Return the verdict on what was handed in; nothing is written yet."""
    card, token, session_id = _card(served, code), typed("token"), served.session_id()
    fields = request.form.to_dict()
    filled = TypedCard(card, fields)
    match served.tokens.state(token, session_id, card.code):
        case TokenState.USED:
            return _handed_in_before(served, card)
        case TokenState.UNKNOWN:
            return _form(served, card, filled, _AGAIN, _OLD)
    if filled.has_problems:
        return _form(served, card, filled, _CANNOT, token=token)
    handed_in = filled.handed_in()
    try:
        answer = served.site.ask(lambda: served.desk.judge(handed_in))
    except ProblemsError as error:
        return _form(served, card, filled, _CANNOT, *texts_of(error), token=token)
    waiting = Waiting(card, handed_in, filled.typed, answer)
    served.tokens.keep(token, session_id, card.code, waiting)
    return verdict_page(served, token, waiting, _OK)


def _confirm(served: Served, code: str) -> Page:
    """Write what was shown, or go back to the form; a token that was used writes nothing."""
    card, token, session_id = _card(served, code), typed("token"), served.session_id()
    if served.tokens.state(token, session_id, card.code) is TokenState.USED:
        return _handed_in_before(served, card)
    waiting = served.tokens.waiting(token, session_id, card.code)
    if waiting is None:
        return _form(served, card, TypedCard(card, {}), _AGAIN, "This form is no longer open here. Nothing was written.")
    if typed("choice") != "write":
        return _before_it(served, token, waiting, _OK)
    if typed("of") != _digest(waiting):
        return verdict_page(served, token, waiting, _AGAIN, _OTHER)
    if not waiting.shown.rows:
        return verdict_page(served, token, waiting, _CANNOT)
    return _write(served, token, waiting)


def _before_it(served: Served, token: str, waiting: Waiting, status: int, *notices: str) -> Page:
    """Return the form as it was filled in; a card that came as a file has none."""
    if waiting.is_saved:
        said = " ".join((*notices, "Nothing was written. The card can be handed in again."))
        return said_page(served, "Not written", said, status)
    return _form(served, waiting.card, TypedCard(waiting.card, waiting.fields), status, *notices, token=token)


def _write(served: Served, token: str, waiting: Waiting) -> Page:
    """Write what was shown, and say what was written; where the verdict is another by now, show that one."""
    card, session_id = waiting.card, served.session_id()
    try:
        answer = served.site.record(lambda: _written(served, card, token, session_id, waiting))
    except ProblemsError as error:
        return _before_it(served, token, waiting, _CANNOT, *texts_of(error))
    if answer is None:
        return _handed_in_before(served, card)
    if not answer.written:
        changed = waiting._replace(shown=answer)
        served.tokens.reopen(token, session_id, card.code, changed)
        return verdict_page(served, token, changed, _AGAIN, _CHANGED)
    stated = ", ".join(" ".join(each) for each in verdicts_of(answer.tasks))
    notices = _logged(served, waiting.fields.get("by", ""), card.code, f"written: {stated}")
    return served.draw("verdict", card=card, answer=answer, numbers=_numbers(card), notices=notices), _OK


def _written(served: Served, card: Card, token: str, session_id: str, waiting: Waiting) -> RecordDocument | None:
    """Use the token up and write; None where somebody has used it just before. Where writing fails, it is open again."""
    taken = served.tokens.take(token, session_id, card.code)
    if taken is None:
        return None
    try:
        return served.desk.write(waiting.handed_in, waiting.shown)
    except Exception:
        # should something have been written all the same, the judge knows the card
        served.tokens.reopen(token, session_id, card.code, waiting)
        raise


def _handed_in_before(served: Served, card: Card) -> Page:
    """Say that a form was sent before, and note that in the log."""
    notices = _logged(served, "", card.code, "handed in before, nothing written")
    return said_page(served, "Handed in before", " ".join((_BEFORE, *notices)), _AGAIN)


def _logged(served: Served, name: str, code: str, verdict: str) -> tuple[str, ...]:
    """Note in the log who handed in what; return what to say where that cannot be done."""
    try:
        served.log.note(request.remote_addr or "", name, code, verdict)
    except OSError as error:
        print(f"intervals serve: records/serve.log: {error.strerror or error}", file=sys.stderr, flush=True)  # noqa: T201 - said where it was started
        return (_NO_LOG,)
    return ()


def _card(served: Served, code: str) -> Card:
    """Return the card of a code; there is no such page where there is none."""
    return served.site.shelf.card(code) or abort(404)


def _form(served: Served, card: Card, filled: TypedCard, status: int, *notices: str, token: str = "") -> Page:
    """Return the form of a card, with a new token where it has none."""
    token = token or served.tokens.issue(served.session_id(), card.code)
    words, form = words_in(card.language), filled.form()
    return served.draw("card", card=card, form=form, token=token, notices=notices, w=words, grades=GRADES), status


def verdict_page(served: Served, token: str, waiting: Waiting, status: int, *notices: str) -> Page:
    """Return the page of a verdict, with the question whether it is to be written."""
    card = waiting.card
    shown = {"card": card, "answer": waiting.shown, "numbers": _numbers(card), "notices": notices}
    return served.draw("verdict", **shown, token=token, of=_digest(waiting), is_saved=waiting.is_saved), status


def _numbers(card: Card) -> dict[str, int]:
    """Return the number of each step on the card, as the form shows it."""
    return {step.id: number for number, step in enumerate(card.steps, start=1)}


def _digest(waiting: Waiting) -> str:
    """Return what says which of several hand-ins of one form a yes is for."""
    return sha256(waiting.handed_in).hexdigest()


def said_page(served: Served, heading: str, text: str, status: int) -> Page:
    """Return a page that only says something."""
    return served.draw("message", heading=heading, lines=(text,), onward=("/cards", "To the cards")), status


def texts_of(error: ProblemsError) -> list[str]:
    """Return what is wrong, each in a line, without the files and codes that a terminal shows."""
    return [f"{problem.text}{f'; {problem.fix}' if problem.fix else ''}" for problem in error.problems]
