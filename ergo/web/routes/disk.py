"""What lies on this disk, and deleting it for good; questions are pages, no script is needed."""

from http import HTTPStatus
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from ergo.library.stored_copies import RECORDINGS, clear_made, what_lies
from ergo.web.app_state import app_state_of, entry_of, words_of
from ergo.web.jobs.uploads import names_given
from ergo.web.routes.pages import page


def disk_page(request: Request) -> Response:
    """Answer with what lies in the library's folder and how much room it takes."""
    app_state = app_state_of(request)
    lies = what_lies(app_state.folder)
    return page(
        request,
        "disk.html",
        title=words_of(request).say("disk.title"),
        folder=str(app_state.folder.absolute()),
        lies=lies,
        entries=app_state.sessions.entries(),
        alone=[(each, _names(app_state.folder, each), size) for each, size in lies.alone.items()],
        size=words_of(request).size,
    )


def ask_session(request: Request) -> Response:
    """Ask whether a session is to be deleted for good."""
    entry, words = entry_of(request), words_of(request)
    size = what_lies(app_state_of(request).folder).sessions.get(entry.id, 0)
    return page(
        request,
        "ask.html",
        title=words.say("disk.ask_session", name=entry.name),
        what=words.say("disk.ask_session_what", size=words.size(size)),
    )


async def delete_session(request: Request) -> Response:
    """Delete a session and every copy of it in the library."""
    app_state = app_state_of(request)
    entry = await run_in_threadpool(entry_of, request)
    app_state.queue.forget(entry.id)
    await run_in_threadpool(app_state.sessions.delete, entry)
    app_state.pictures.forget(entry.folder)
    return RedirectResponse("/disk", status_code=HTTPStatus.SEE_OTHER)


def ask_recording(request: Request) -> Response:
    """Ask whether a recording without a session is to be deleted for good."""
    upload, size = _alone(request)
    words = words_of(request)
    names = _names(app_state_of(request).folder, upload)
    return page(
        request,
        "ask.html",
        title=words.say("disk.ask_recording"),
        what=words.say("disk.ask_recording_what", names=names, size=words.size(size)),
    )


def delete_recording(request: Request) -> Response:
    """Delete a recording that no session and no analysis needs."""
    upload, _ = _alone(request)
    app_state_of(request).uploads.delete(upload)
    return RedirectResponse("/disk", status_code=HTTPStatus.SEE_OTHER)


def clear(request: Request) -> Response:
    """Delete what can be made again."""
    clear_made(app_state_of(request).folder)
    return RedirectResponse("/disk", status_code=HTTPStatus.SEE_OTHER)


def _alone(request: Request) -> tuple[str, int]:
    upload = request.path_params["upload"]
    alone = what_lies(app_state_of(request).folder).alone
    if upload not in alone:
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such upload.")
    return upload, alone[upload]


def _names(library: Path, upload: str) -> str:
    """Return what people called the files of an upload."""
    files = sorted((library / RECORDINGS / upload).glob("[0-9][0-9][0-9].*"))
    return ", ".join(names_given(files).values()) or upload
