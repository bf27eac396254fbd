"""Answers for the page's scripts; each handler reads the request, calls, and answers."""

from http import HTTPStatus

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ergo.storage.library_entry import Entry
from ergo.storage.tables import plain
from ergo.web.described import description, figures
from ergo.web.desk import desk_of, opened_of, words_of
from ergo.web.lanes import arrays_of, packed
from ergo.web.pictures import PictureLost

WORDS_FOR_SCRIPTS = ("page.", "strain.", "clock.hour", "number.", "angle.", "scores.sides.")


def said(request: Request) -> Response:
    """Answer with the words that the scripts use."""
    catalogue = words_of(request).catalogue
    shown = {key: text for key, text in catalogue.items() if key.startswith(WORDS_FOR_SCRIPTS)}
    return JSONResponse(shown)


def listed(request: Request) -> Response:
    """Answer with the sessions of the library."""
    return JSONResponse([_row(entry) for entry in desk_of(request).sessions.entries()])


def _row(entry: Entry) -> dict[str, object]:
    return {
        "id": entry.id,
        "name": entry.name,
        "added_at": entry.added_at.isoformat(),
        "recorded_on": entry.recorded_on.isoformat() if entry.recorded_on else None,
        "operator": entry.operator,
        "tags": list(entry.tags),
    }


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


async def picture(request: Request) -> Response:
    """Answer with one analysed frame as JPEG, other people unrecognisable."""
    opened = await run_in_threadpool(opened_of, request)
    frame = request.path_params["frame"]
    if frame >= len(opened.session.recording.timeline):
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such frame.")
    try:
        jpeg = await desk_of(request).pictures.jpeg(
            opened.folder, frame, whole(request, "width", 960, 4096), _is_set(request, "blur")
        )
    except PictureLost as error:
        raise HTTPException(
            HTTPStatus.UNPROCESSABLE_ENTITY, "This picture cannot be decoded."
        ) from error
    if jpeg is None:
        raise HTTPException(HTTPStatus.NOT_FOUND, "The recording is no longer at its place.")
    return Response(jpeg, media_type="image/jpeg", headers={"cache-control": "private, no-cache"})


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
