"""Answers for uploads and the queue."""

from collections.abc import Callable, Sequence
from http import HTTPStatus
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ergo.report.text.reasons import in_words
from ergo.web.app_state import AppState, app_state_of, form_of, words_of
from ergo.web.guard import CHUNK_TYPE
from ergo.web.jobs.uploads import (
    MOST_FILES,
    AnalysisWanted,
    Arriving,
    UploadWanted,
    described,
    names_given,
)

BeginsS = Annotated[float, Field(ge=-86400, le=86400)]
"""As in the notes of a clip. [s]"""


class StartsStated(BaseModel):
    """When each clip after the first began, on the clock of the first [s]; None = to be found."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    begins_s: list[BeginsS | None] = Field(max_length=MOST_FILES)


async def begin(request: Request) -> Response:
    """Make room for a recording; answer with its id."""
    wanted = await form_of(request, UploadWanted)
    upload = app_state_of(request).uploads.begin(wanted)
    return JSONResponse({"id": upload}, status_code=HTTPStatus.CREATED)


def so_far(request: Request) -> Response:
    """Answer with how much of each file has come."""
    return JSONResponse(
        {"files": described(app_state_of(request).uploads.files(request.path_params["upload"]))}
    )


async def part(request: Request) -> Response:
    """Take a part of a file; answer with how much of it has come."""
    offset = request.headers.get("upload-offset", "")
    if not (offset.isascii() and offset.isdigit() and len(offset) < 12):
        raise HTTPException(HTTPStatus.BAD_REQUEST, "Upload-Offset must be a whole number.")
    if request.headers.get("content-type") != CHUNK_TYPE:
        raise HTTPException(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, f"Send {CHUNK_TYPE}.")
    body = await request.body()
    app_state = app_state_of(request)
    path = request.path_params
    async with app_state.sending:
        came = await run_in_threadpool(
            app_state.uploads.write, path["upload"], path["number"], int(offset), body
        )
    return JSONResponse({"offset": came})


async def done(request: Request) -> Response:
    """Look at what has come and queue its analysis; 422 if a file cannot be used.

    Asked again, it answers with the same analysis; 409 while it is still looking.
    """
    app_state, upload = app_state_of(request), request.path_params["upload"]
    wanted = await form_of(request, AnalysisWanted)
    files = app_state.uploads.whole(upload)
    if upload in app_state.looked_at:
        raise HTTPException(HTTPStatus.CONFLICT, "This upload is being looked at already.")
    app_state.looked_at.add(upload)
    try:
        job = app_state.uploads.owner(upload) or await _queued(app_state, upload, files, wanted)
    finally:
        app_state.looked_at.discard(upload)
    return JSONResponse({"job": job}, status_code=HTTPStatus.CREATED)


async def _queued(
    app_state: AppState, upload: str, files: Sequence[Arriving], wanted: AnalysisWanted
) -> str:
    why = await _refusal(app_state, files, is_together=wanted.together)
    if why is not None:
        app_state.uploads.remove(upload)
        raise HTTPException(HTTPStatus.UNPROCESSABLE_ENTITY, why)
    paths = [file.path for file in files]
    job = app_state.queue.add(wanted.name, paths, wanted.tags, is_together=wanted.together)
    app_state.uploads.take(upload, job.id)
    return job.id


async def _refusal(
    app_state: AppState, files: Sequence[Arriving], *, is_together: bool
) -> str | None:
    """Return why files cannot be analysed as wished; None if they can."""
    for file in files:
        why = await app_state.pictures.refusal_of(file.path)
        if why is not None:
            return f"{file.name}: {why}"
    if is_together:
        return await app_state.pictures.refusal_together(names_given(file.path for file in files))
    return None


async def jobs(request: Request) -> Response:
    """Answer with the queue."""
    words, app_state = words_of(request), app_state_of(request)
    for session in app_state.queue.sessions():
        if not await run_in_threadpool(app_state.sessions.library.holds, session):
            app_state.queue.forget(session)  # another program has deleted it
    rows = app_state.queue.described()
    return JSONResponse(
        [row | {"error": row["error"] and in_words(row["error"], words)} for row in rows]
    )


async def starts(request: Request) -> Response:
    """State when clips of other cameras began, and analyse again."""
    stated = await form_of(request, StartsStated)
    return _with_job(
        request, lambda job: app_state_of(request).queue.state_starts(job, stated.begins_s)
    )


async def again(request: Request) -> Response:
    """Put an analysis that failed or was cancelled back into the queue."""
    return _with_job(request, app_state_of(request).queue.again)


async def cancel(request: Request) -> Response:
    """Stop an analysis."""
    return _with_job(request, app_state_of(request).queue.cancel)


async def remove(request: Request) -> Response:
    """Take an analysis off the list."""
    return _with_job(request, app_state_of(request).queue.remove)


def _with_job(request: Request, act: Callable[[str], None]) -> Response:
    try:
        act(request.path_params["job"])
    except KeyError as error:
        raise HTTPException(HTTPStatus.NOT_FOUND, "There is no such analysis.") from error
    return Response(status_code=HTTPStatus.NO_CONTENT)
