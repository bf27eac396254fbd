"""Answers for the page's scripts; each handler reads the request, calls, and answers."""

from collections.abc import Callable
from functools import partial
from http import HTTPStatus

from anyio import from_thread
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ergo.library.entry import Entry
from ergo.report.text.words import Words
from ergo.storage.tables import plain
from ergo.web.app_state import AppState, app_state_of, form_of, opened_of, words_of
from ergo.web.jobs.queue import Queue
from ergo.web.jobs.uploads import Called
from ergo.web.routes.camera_place import set_up_content
from ergo.web.routes.openapi import description as api_description
from ergo.web.session.classroom import ClassSteps, compared, sheet
from ergo.web.session.corrections import Correction, Follow, correct, steps_of, undo
from ergo.web.session.history_text import step_text
from ergo.web.session.session_cache import OpenSession
from ergo.web.session.session_json import description, figures
from ergo.web.session.timeline_arrays import arrays_of, packed

WORDS_FOR_SCRIPTS = (
    *("page.", "strain.", "clock.hour", "number.", "angle.", "scores.sides."),
    *("setup.how.", "setup.mark."),
)


def said(request: Request) -> Response:
    """Answer with the words that the scripts use."""
    catalogue = words_of(request).catalogue
    shown = {key: text for key, text in catalogue.items() if key.startswith(WORDS_FOR_SCRIPTS)}
    return JSONResponse(shown)


def described(_: Request) -> Response:
    """Answer with the description of these answers."""
    return JSONResponse(api_description())


def listed(request: Request) -> Response:
    """Answer with the sessions of the library."""
    return JSONResponse([_row(entry) for entry in app_state_of(request).sessions.entries()])


def _row(entry: Entry) -> dict[str, object]:
    return {
        "id": entry.id,
        "name": entry.name,
        "added_at": entry.added_at.isoformat(),
        "recorded_on": entry.recorded_on.isoformat() if entry.recorded_on else None,
        "operator": entry.operator,
        "tags": list(entry.tags),
    }


async def called(request: Request) -> Response:
    """Give a session another name and tags; answer with its entry."""
    wanted = await form_of(request, Called)
    try:
        entry = await run_in_threadpool(
            app_state_of(request).sessions.describe,
            request.path_params["session"],
            wanted.name,
            wanted.tags,
        )
    except KeyError as error:
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such session.") from error
    return JSONResponse(_row(entry))


def timeline(request: Request) -> Response:
    """Answer with description and arrays of a session in one piece."""
    opened = opened_of(request)
    content = plain(description(opened, words_of(request)))
    return Response(
        packed(content, arrays_of(opened.session)), media_type="application/octet-stream"
    )


def figures_of(request: Request) -> Response:
    """Answer with sentences and tables of a session."""
    return JSONResponse(plain(figures(opened_of(request), words_of(request))))


def set_up(request: Request) -> Response:
    """Answer with what the marks of one recording's camera place tell."""
    opened, source = opened_of(request), request.path_params["source"]
    if source >= len(opened.sources):
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such recording.")
    return JSONResponse(
        set_up_content(opened.sources[source], opened.notes[source], words_of(request))
    )


async def picture(request: Request) -> Response:
    """Answer with one analysed frame as JPEG, other people unrecognisable.

    ``camera`` counts from 1: the clip that the times are those of, then those beside it.
    """
    opened, frame, camera = await _place_of(request)
    jpeg = await app_state_of(request).pictures.jpeg(
        *(opened.folder, frame, whole(request, "width", 960, 4096)),
        blur=_is_set(request, "blur"),
        camera=camera,
    )
    if jpeg is None:
        raise HTTPException(HTTPStatus.NOT_FOUND, "The recording is no longer at its place.")
    return Response(jpeg, media_type="image/jpeg", headers={"cache-control": "private, no-cache"})


async def people(request: Request) -> Response:
    """Answer with everybody in one analysed frame, from left to right; ``camera`` as for pictures.

    The picture is searched anew, which takes seconds; nothing of it leaves the program but
    outlines and points.
    """
    opened, frame, camera = await _place_of(request)
    found = await app_state_of(request).people.found(opened.folder, frame, camera)
    if found is None:
        raise HTTPException(HTTPStatus.NOT_FOUND, "The recording is no longer at its place.")
    return JSONResponse(found)


async def _place_of(request: Request) -> tuple[OpenSession, int, int]:
    """Return session, frame and camera that a request names; 404 if there is no such frame."""
    opened = await run_in_threadpool(opened_of, request)
    frame: int = request.path_params["frame"]
    if frame >= len(opened.session.recording.timeline):
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such frame.")
    return opened, frame, whole(request, "camera", 1, 1 + len(opened.session.recording.beside))


def history(request: Request) -> Response:
    """Answer with the corrections of a session, oldest first."""
    return JSONResponse(_steps(opened_of(request), words_of(request)))


async def correction(request: Request) -> Response:
    """Keep a correction; answer with the corrections of the session."""
    wanted = await form_of(request, Correction)
    return await run_in_threadpool(
        _changed,
        request,
        lambda app_state, key, follow: correct(app_state.sessions, key, wanted, follow),
    )


async def undoing(request: Request) -> Response:
    """Take the last correction back; answer with the corrections of the session."""
    return await run_in_threadpool(
        _changed, request, lambda app_state, key, follow: undo(app_state.sessions, key, follow)
    )


def _changed(request: Request, change: Callable[[AppState, str, Follow], OpenSession]) -> Response:
    app_state = app_state_of(request)
    opened_of(request)
    opened = change(app_state, request.path_params["session"], partial(_follow, app_state.queue))
    return JSONResponse(_steps(opened, words_of(request)))


def _follow(queue: Queue, entry: Entry, is_shown: bool) -> None:
    """Have the session watched for the operator chosen, unless that was done before."""
    if is_shown:
        from_thread.run_sync(queue.stop_watching_again, entry.id)
    else:
        from_thread.run_sync(queue.watch_again, entry)


def _steps(opened: OpenSession, words: Words) -> list[dict[str, object]]:
    return [
        {
            "number": step.number,
            "at": step.at,
            "text": step_text(step, opened.session, words),
            "is_undone": is_undone,
        }
        for step, is_undone in steps_of(opened.folder)
    ]


def class_sheet(request: Request) -> Response:
    """Answer with the printed steps to choose from."""
    return JSONResponse(sheet(opened_of(request).session, words_of(request)))


async def class_answer(request: Request) -> Response:
    """Answer with the class's steps beside the measured ones."""
    given = await form_of(request, ClassSteps)
    opened = await run_in_threadpool(opened_of, request)
    if given.frame >= len(opened.session.recording.timeline):
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such frame.")
    return JSONResponse(compared(opened.session, given, words_of(request)))


def whole(request: Request, name: str, otherwise: int, most: int) -> int:
    """Return a whole number of the query, from 1 to ``most``; 422 if it is something else."""
    text = request.query_params.get(name, str(otherwise))
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= most):
        raise HTTPException(
            HTTPStatus.UNPROCESSABLE_ENTITY, f"{name} must be a whole number from 1 to {most}."
        )
    return int(text)


def _is_set(request: Request, name: str) -> bool:
    return request.query_params.get(name) == "1"
