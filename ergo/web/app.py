"""The page as an ASGI application."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from http import HTTPStatus
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from ergo.errors import ErgoError
from ergo.library.library import open_library
from ergo.report.text.reasons import in_words
from ergo.web.app_state import AppState, templates, words_of
from ergo.web.guard import Guard, Keys
from ergo.web.jobs.queue import Queue
from ergo.web.jobs.uploads import Uploads
from ergo.web.jobs.worker import Worker
from ergo.web.routes import api, disk, exports, pages, uploading
from ergo.web.session.artefact_cache import Made
from ergo.web.session.people import People
from ergo.web.session.pictures import PictureLost, Pictures, PictureSlow
from ergo.web.session.session_cache import OpenSessions

STATIC = Path(__file__).parent / "static"

ROUTES = (
    Route("/", pages.sessions_page),
    Route("/sessions/{session}", pages.session_page),
    Route("/disk", disk.disk_page),
    Route("/disk/clear", disk.clear, methods=["POST"]),
    Route("/recordings/{upload}/delete", disk.ask_recording),
    Route("/recordings/{upload}/delete", disk.delete_recording, methods=["POST"]),
    Route("/sessions/{session}/delete", disk.ask_session),
    Route("/sessions/{session}/delete", disk.delete_session, methods=["POST"]),
    Route("/sessions/{session}/report", exports.report_page),
    Route("/sessions/{session}/files/{name}", exports.report_file),
    Route("/sessions/{session}/clips/{source:int}.mp4", exports.clip),
    Route("/sessions/{session}/stills/{frame:int}.jpg", exports.still),
    Route("/comparison", exports.comparison_page),
    Route("/comparison.html", exports.comparison_file),
    Route("/comparison.pdf", exports.comparison_file),
    Route("/comparison.csv", exports.comparison_file),
    Route("/api/openapi.json", api.described),
    Route("/api/words", api.said),
    Route("/api/sessions", api.listed),
    Route("/api/sessions/{session}/entry", api.called, methods=["POST"]),
    Route("/api/sessions/{session}/timeline", api.timeline),
    Route("/api/sessions/{session}/figures", api.figures_of),
    Route("/api/sessions/{session}/setup/{source:int}", api.set_up),
    Route("/api/sessions/{session}/pictures/{frame:int}", api.picture),
    Route("/api/sessions/{session}/people/{frame:int}", api.people),
    Route("/api/sessions/{session}/corrections", api.history),
    Route("/api/sessions/{session}/corrections", api.correction, methods=["POST"]),
    Route("/api/sessions/{session}/undo", api.undoing, methods=["POST"]),
    Route("/api/sessions/{session}/class", api.class_sheet),
    Route("/api/sessions/{session}/class", api.class_answer, methods=["POST"]),
    Route("/api/uploads", uploading.begin, methods=["POST"]),
    Route("/api/uploads/{upload}", uploading.so_far),
    Route("/api/uploads/{upload}/done", uploading.done, methods=["POST"]),
    Route("/api/uploads/{upload}/{number:int}", uploading.part, methods=["PATCH"]),
    Route("/api/jobs", uploading.jobs),
    Route("/api/jobs/{job}/starts", uploading.starts, methods=["POST"]),
    Route("/api/jobs/{job}/again", uploading.again, methods=["POST"]),
    Route("/api/jobs/{job}/cancel", uploading.cancel, methods=["POST"]),
    Route("/api/jobs/{job}", uploading.remove, methods=["DELETE"]),
    Mount("/static", StaticFiles(directory=STATIC)),
)


def create_app(library_folder: Path, keys: Keys, database_url: str | None = None) -> Starlette:
    """Return the page over a library of sessions.

    Parameters
    ----------
    library_folder : Path
        Made if there is none.
    keys : Keys
        Secret of the opening address and the cookie it is exchanged for.
    database_url : str, optional
        Of a school's server, as in :func:`ergo.library.library.open_library`.

    Raises
    ------
    LibraryError
        If the library cannot be used.
    """
    library = open_library(library_folder, database_url)
    sessions = OpenSessions(library)
    uploads = Uploads(library_folder / "recordings")
    app_state = AppState(
        folder=library_folder,
        sessions=sessions,
        pictures=Pictures(),
        people=People(),
        uploads=uploads,
        queue=Queue(library_folder / "analyses", uploads),
        made=Made(library_folder / "made"),
        sending=asyncio.Lock(),
        looked_at=set(),
        templates=templates(),
    )

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        tasks = [
            asyncio.create_task(app_state.pictures.warm_up()),
            asyncio.create_task(Worker(app_state.queue, sessions).work()),
        ]
        yield
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await app_state.pictures.close()
        library.engine.dispose()

    app = Starlette(
        routes=ROUTES,
        middleware=[Middleware(Guard, keys=keys)],
        exception_handlers=_ANSWERS,
        lifespan=lifespan,
    )
    app.state.app_state = app_state
    return app


def _told(request: Request, error: Exception) -> Response:
    why = in_words(str(error), words_of(request))
    return JSONResponse({"error": why}, status_code=HTTPStatus.UNPROCESSABLE_ENTITY)


def _lost(request: Request, _: Exception) -> Response:
    why = in_words("This picture cannot be decoded.", words_of(request))
    return JSONResponse({"error": why}, status_code=HTTPStatus.UNPROCESSABLE_ENTITY)


def _slow(request: Request, _: Exception) -> Response:
    why = in_words("That took too long; nothing is lost. Try once more.", words_of(request))
    return JSONResponse({"error": why}, status_code=HTTPStatus.SERVICE_UNAVAILABLE)


def _refused(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else HTTPStatus.BAD_REQUEST
    why = in_words(error.detail, words_of(request)) if isinstance(error, HTTPException) else ""
    headers = error.headers if isinstance(error, HTTPException) else None
    return JSONResponse({"error": why}, status_code=status, headers=headers)


def _our_fault(request: Request, error: Exception) -> Response:
    why = in_words("Sorry, this is a mistake in the program.", words_of(request))
    return JSONResponse({"error": why}, status_code=HTTPStatus.INTERNAL_SERVER_ERROR)


_ANSWERS = {
    ErgoError: _told,
    PictureLost: _lost,
    PictureSlow: _slow,
    HTTPException: _refused,
    Exception: _our_fault,
}
"""What the reader is told of each kind of error."""
