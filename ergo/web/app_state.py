"""What all handlers share: the open sessions, the frame server, the queue, the templates."""

import asyncio
import json
import re
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import Path
from typing import TypeVar

from jinja2 import Environment, PackageLoader, StrictUndefined
from pydantic import BaseModel, ValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request

from ergo.library.entry import Entry
from ergo.report.text.words import LANGUAGES, Words, words
from ergo.web.jobs.queue import Queue
from ergo.web.jobs.uploads import Uploads
from ergo.web.session.artefact_cache import Made
from ergo.web.session.people import People
from ergo.web.session.pictures import Pictures
from ergo.web.session.session_cache import OpenSession, OpenSessions

Form = TypeVar("Form", bound=BaseModel)
LANGUAGE_COOKIE = "ergo-language"


@dataclass(frozen=True, slots=True)
class AppState:
    """Everything a handler may use.

    Attributes
    ----------
    folder : Path
        Of the library.
    sessions : OpenSessions
    pictures : Pictures
    people : People
    uploads : Uploads
    queue : Queue
    made : Made
    sending : asyncio.Lock
        One part of an upload is written at a time.
    looked_at : set of str
        Uploads that are being looked at before they are queued.
    templates : Environment
    """

    folder: Path
    sessions: OpenSessions
    pictures: Pictures
    people: People
    uploads: Uploads
    queue: Queue
    made: Made
    sending: asyncio.Lock
    looked_at: set[str]
    templates: Environment


def templates() -> Environment:
    """Return the page's templates."""
    return Environment(
        loader=PackageLoader("ergo.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def app_state_of(request: Request) -> AppState:
    """Return what the application of this request shares."""
    app_state: AppState = request.app.state.app_state
    return app_state


async def form_of(request: Request, form: type[Form]) -> Form:
    """Return the body of a request as one of our forms.

    415 if it is not JSON by name, 400 if not by content, 422 if it is another form or
    holds half a character (a lone surrogate, RFC 8259, 8.2), which no file can keep.
    """
    kind = request.headers.get("content-type", "").partition(";")[0]
    if kind != "application/json":
        raise HTTPException(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "Send JSON.")
    try:
        content = json.loads(await request.body())
        json.dumps(content, ensure_ascii=False).encode()
        return form.model_validate(content)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"]))
        raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, f"{where}: {first['msg']}") from error
    except UnicodeEncodeError as error:
        raise HTTPException(
            HTTPStatus.UNPROCESSABLE_ENTITY, "A text holds half a character. Write it again."
        ) from error
    except (ValueError, RecursionError) as error:
        raise HTTPException(HTTPStatus.BAD_REQUEST, "That is no JSON.") from error


def opened_of(request: Request) -> OpenSession:
    """Return the session that the address names; 404 if there is none."""
    try:
        return app_state_of(request).sessions.get(request.path_params["session"])
    except KeyError as error:
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such session.") from error


def entry_of(request: Request) -> Entry:
    """Return what the library knows of the session that the address names; 404 if there is none."""
    try:
        return app_state_of(request).sessions.entry(request.path_params["session"])
    except KeyError as error:
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such session.") from error


def words_of(request: Request) -> Words:
    """Return the words of the reader's language: as chosen, else as the browser prefers."""
    chosen = request.query_params.get("language") or request.cookies.get(LANGUAGE_COOKIE)
    if chosen in LANGUAGES:
        return words(chosen)
    return words(preferred_language(request.headers.get("accept-language", "")))


def preferred_language(accepted: str) -> str:
    """Return the first of our languages that a browser asks for, by weight, then by order.

    Parameters
    ----------
    accepted : str
        As in the header ``Accept-Language``: ``"fr, de-AT;q=0.9, en;q=0.8"``.

    References
    ----------
    RFC 9110, HTTP Semantics, 12.4.2 (weights) and 12.5.4 (Accept-Language).
    """
    ranges = [_weighed(each) for each in accepted.split(",")]
    ranges.sort(key=lambda each: -each[1])  # stable: of equal weights the first
    known = (name for name, weight in ranges if weight > 0 and name in LANGUAGES)
    return next(known, LANGUAGES[0])


def _weighed(accepted: str) -> tuple[str, float]:
    """Return the language of one range and its weight, 0 where that cannot be read."""
    name, *parameters = (part.strip().lower() for part in accepted.split(";"))
    weights = [part.removeprefix("q=") for part in parameters if part.startswith("q=")]
    readable = re.fullmatch(r"0(\.\d{0,3})?|1(\.0{0,3})?", weights[0]) if weights else None
    weight = float(weights[0]) if readable else float(not weights)
    return name.partition("-")[0], weight
