"""ergo reads pictures of a dental clinician at the chair and reports strained postures.

The Python interface has the shape of the command line::

    from pathlib import Path
    from ergo import analyse_session, load_session, rescore_session

    outcome = analyse_session([Path("sample_frames")], Path("out/sample"))
    outcome.session.posture.angle("neck_flexion_deg")

Everything is loaded when it is first asked for, so that importing is quick.
"""

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

__all__ = [
    "ErgoError",
    "Exposure",
    "Notes",
    "Outcome",
    "ReportChoices",
    "Session",
    "Settings",
    "analyse_session",
    "exposure_of_session",
    "load_session",
    "rescore_session",
]

if TYPE_CHECKING:
    from ergo.app.workflow import (
        Outcome,
        ReportChoices,
        analyse_session,
        exposure_of_session,
        load_session,
        rescore_session,
    )
    from ergo.errors import ErgoError
    from ergo.exposure.exposure import Exposure
    from ergo.notes.notes import Notes
    from ergo.session.session import Session, Settings

_HOMES = {
    "ErgoError": "ergo.errors",
    "Exposure": "ergo.exposure.exposure",
    "Notes": "ergo.notes.notes",
    "Session": "ergo.session.session",
    "Settings": "ergo.session.session",
}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'ergo' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOMES.get(name, "ergo.app.workflow")), name)
