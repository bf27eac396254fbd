"""What the command line and the page do with a session: analyse, score again, report.

Both call these functions and add nothing but questions and answers.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ergo.app.analyse import evaluate_session, record
from ergo.app.watching import OnProgress
from ergo.app.watching_process import watch_apart
from ergo.arrays import PictureArray
from ergo.errors import ErgoError, NothingToAnalyse, SeveralOperators
from ergo.exposure.exposure import Exposure
from ergo.exposure.summary import episode_rows, exposure_of
from ergo.frames.fetch import picture_at
from ergo.frames.find import Found, find_sources
from ergo.frames.frame import SourceFacts
from ergo.frames.same_file import is_same_file
from ergo.notes.notes import Notes, what_measures
from ergo.notes.one_person import check_one_hand, check_one_person, check_profile
from ergo.notes.reading import read_notes
from ergo.scores.methods import score_all
from ergo.session.session import Recording, Session, Settings
from ergo.session.several_cameras import (
    all_sources,
    check_can_be_together,
    merged_cameras,
    one_after_the_other,
    with_notes_of_secondary,
)
from ergo.storage.folder import check_free
from ergo.storage.landmark_file import as_stored
from ergo.storage.session_folder import StoredSession, read_session, write_session
from ergo.storage.session_notes import has_corrections, keep_corrections
from ergo.storage.shelf import FolderShelf
from ergo.storage.tables import write_frames, write_json, write_rows
from ergo.whole import being_made, write_folder
from ergo.workplace.clock_track import Handed
from ergo.workplace.handedness import handed_by
from ergo.workplace.places import clock_of, right_handed

MIN_SEEN_SHARE = 0.05
"""Below this share of the session with the operator seen, there is too little to judge (ours)."""


@dataclass(frozen=True, slots=True)
class ReportChoices:
    """How the report is to look.

    Attributes
    ----------
    language : str
        ``"en"`` or ``"de"``.
    blur_operator : bool
        Blur the operator's face too; other people's always are.
    page : str or None
        Address of the session's page, if rows and bars are to lead there.
    all_changes : bool
        List in ``report.pdf`` every change worth trying, not only the first.
    """

    language: str = "en"
    blur_operator: bool = False
    page: str | None = None
    all_changes: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """A finished analysis and the folder it was written to.

    Attributes
    ----------
    session : Session
    exposure : Exposure
    folder : Path
    remarks : tuple of str
        What the user should know besides, one line each.
    """

    session: Session
    exposure: Exposure
    folder: Path
    remarks: tuple[str, ...] = ()

    @property
    def is_too_little_seen(self) -> bool:
        """Return whether too little of the operator was visible to judge."""
        return not self.exposure.seen.share >= MIN_SEEN_SHARE

    @property
    def sources_hardly_seen(self) -> tuple[str, ...]:
        """Return the names of the recordings that show too little of the operator to judge."""
        recording = one_after_the_other(self.session.recording)
        return tuple(
            facts.name
            for source, facts in enumerate(recording.sources)
            if not _seen_share(recording, source) >= MIN_SEEN_SHARE
        )


def _seen_share(recording: Recording, source: int) -> float:
    """Return the share of a recording in which its operator was seen; NaN without a picture."""
    frames = recording.timeline.frames_of(source)
    held = recording.timeline.held[frames]
    found = recording.tracks["operator"].found[frames]
    return float(np.sum(held[found]) / np.sum(held)) if np.sum(held) else np.nan


def analyse_session(
    inputs: Sequence[Path],
    out: Path,
    settings: Settings | None = None,
    *,
    is_together: bool = False,
    called: Mapping[Path, str] | None = None,
    force: bool = False,
    choices: ReportChoices | None = None,
    on_progress: OnProgress | None = None,
) -> Outcome:
    """Watch clips and stills, judge them and write everything to a folder.

    A run that was interrupted goes on where it stopped when it is repeated with
    the same inputs and settings; the folder appears only when it is whole.

    Parameters
    ----------
    inputs : sequence of Path
        Clips, stills and folders of them; notes lie beside them.
    out : Path
        The folder to make.
    settings : Settings, optional
    is_together : bool
        The inputs are clips of one session, filmed by several cameras at once.
    called : mapping of Path to str, optional
        What people call a file that lies under another name.
    force : bool
        Replace a session that is already in ``out``.
    choices : ReportChoices, optional
    on_progress : callable, optional
        Told the source and its seconds watched, many times.

    Returns
    -------
    Outcome

    Raises
    ------
    ErgoError
        With one line for the user; nothing is half-written.
    """
    settings = settings or Settings()
    check_free(out, replace=force)
    found = find_sources(inputs, settings.rate_hz, called)
    if is_together:
        check_can_be_together([source.facts for source in found.sources])
    notes = _notes_of_one_person(found, settings)
    shelf = FolderShelf(out, settings, _who_is_stated(notes))
    with being_made(out):
        check_free(out, replace=force)  # whoever was first may have made it by now
        watch_apart(found.sources, notes, settings.effort, shelf, on_progress)
        recording = record(found.sources, notes, settings, skipped=found.skipped, shelf=shelf)
        if not len(recording.timeline):
            raise NothingToAnalyse("holds no picture that could be analysed.", where=str(inputs[0]))
        check_one_hand(recording.timeline.sources, notes, _hands_told(recording))
        if is_together:
            recording, notes = merged_cameras(recording, notes), notes[:1]
        return finish(recording, notes, out, choices)


def _notes_of_one_person(found: Found, settings: Settings) -> tuple[Notes, ...]:
    """Return the notes of all recordings, completed by the profile; they are of one operator."""
    names = [each.facts.name for each in found.sources]
    stated = [read_notes(each.facts.path) for each in found.sources]
    check_profile(names, stated, settings.operator)
    check_one_person(names, stated)
    return tuple(settings.completed(each) for each in stated)


def _hands_told(recording: Recording) -> list[Handed | None]:
    """Return the operator's handedness as every recording by itself tells it."""
    operator, timeline = recording.tracks["operator"], recording.timeline
    return [
        handed_by(right_handed(operator.frames(timeline.frames_of(source))))
        for source in range(len(timeline.sources))
    ]


def _who_is_stated(notes: Sequence[Notes]) -> str:
    return json.dumps(
        [each.model_dump(mode="json", include={"operator", "handed"}) for each in notes]
    )


def load_session(folder: Path) -> Session:
    """Read a session folder and judge it again from its landmarks.

    Raises
    ------
    SessionError
        If the folder holds no session, a damaged one or one of a newer version.
    """
    stored = read_session(folder)
    return evaluate_session(stored.recording, stored.notes, is_stored=True)


def judge_again(before: Session, notes: Sequence[Notes]) -> Session:
    """Return the session as other notes have it; it is measured again only if they ask for it.

    Gives what :func:`ergo.app.analyse.evaluate_session` gives, sooner.

    Parameters
    ----------
    before : Session
    notes : sequence of Notes
        One per source.
    """
    is_same = [what_measures(each) for each in notes] == [what_measures(n) for n in before.notes]
    if before.place is None or not is_same:
        return evaluate_session(
            before.recording, notes, is_stored=same_moments(before.notes, notes)
        )
    recording = before.recording
    return replace(
        before,
        notes=tuple(notes),
        clock=clock_of(recording.timeline, notes, before.place),
        scores=score_all(recording.timeline, before.posture, notes, recording.settings.readings),
    )


def same_moments(stored: Sequence[Notes], notes: Sequence[Notes]) -> bool:
    """Return whether notes state the neutral moments of a stored session and no others."""
    return [each.neutral for each in stored] == [each.neutral for each in notes]


def rescore_session(
    folder: Path,
    readings: Mapping[str, str] | None = None,
    *,
    choices: ReportChoices | None = None,
) -> Outcome:
    """Judge a session again and rewrite its folder; the recording is not read.

    Notes are taken from beside the recording if it still lies where it was and has the
    content that was analysed. If not, or if the session was corrected on the page, they
    are as they were.

    Parameters
    ----------
    folder : Path
        A folder that :func:`analyse_session` made.
    readings : mapping of str to str, optional
        Readings to change; the others stay.
    choices : ReportChoices, optional

    Raises
    ------
    ErgoError
        With one line for the user; the folder is then as it was.
    """
    stored = read_session(folder)
    recording = stored.recording
    before, notes = recording.settings, stored.notes
    remarks: tuple[str, ...] = ()
    if not has_corrections(folder):
        remarks = _replaced(all_sources(recording))
        notes = tuple(
            _notes_now(facts, kept, before)
            for facts, kept in zip(recording.sources, stored.notes, strict=True)
        )
        _check_still_one_person(stored, notes)
        recording = with_notes_of_secondary(
            recording,
            [_notes_now(e.recording.sources[0], e.notes, before) for e in recording.beside],
        )
    settings = replace(before, readings={**before.readings, **(readings or {})})
    recording = replace(recording, settings=settings)
    place = folder.resolve()  # "." has no name beside which a new folder could be made
    is_stored = same_moments(stored.notes, notes)
    with being_made(place):
        outcome = finish(
            recording, notes, place, choices, corrections_of=folder, is_stored=is_stored
        )
    return replace(outcome, remarks=remarks)


def _check_still_one_person(stored: StoredSession, notes: Sequence[Notes]) -> None:
    """Refuse notes that now are about several operators; a session that was so stays so."""
    names = stored.recording.timeline.sources
    try:
        check_one_person(names, stored.notes)
    except SeveralOperators:
        return
    check_profile(names, notes, stored.recording.settings.operator)
    check_one_person(names, notes)


def _notes_now(facts: SourceFacts, kept: Notes, settings: Settings) -> Notes:
    return settings.completed(read_notes(facts.path) if is_same_file(facts) else kept)


def _replaced(sources: Sequence[SourceFacts]) -> tuple[str, ...]:
    """Return a remark for every recording in whose place another file lies."""
    return tuple(
        f"{facts.name}: is no longer the file that was analysed. Its notes stay as they were."
        for facts in sources
        if facts.path.is_file() and not is_same_file(facts)
    )


def exposure_of_session(session: Session) -> Exposure:
    """Return time in posture of a session."""
    return exposure_of(
        session.recording.timeline,
        session.posture,
        session.clock,
        session.scores,
        session.notes,
        session.recording.settings.readings,
    )


def finish(
    recording: Recording,
    notes: Sequence[Notes],
    out: Path,
    choices: ReportChoices | None = None,
    *,
    corrections_of: Path | None = None,
    is_stored: bool = False,
) -> Outcome:
    """Judge a recording and write its whole folder; may keep the corrections of another."""
    session = evaluate_session(_as_stored(recording), notes, is_stored=is_stored)
    exposure = exposure_of_session(session)
    chosen = choices or ReportChoices()

    def write(folder: Path) -> None:
        _write_all(session, exposure, folder, out, chosen)
        if corrections_of is not None:
            keep_corrections(corrections_of, folder)

    write_folder(out, write)
    return Outcome(session, exposure, out)


def _as_stored(recording: Recording) -> Recording:
    tracks = {role: as_stored(track) for role, track in recording.tracks.items()}
    beside = [replace(each, recording=_as_stored(each.recording)) for each in recording.beside]
    return replace(recording, tracks=tracks, beside=tuple(beside))


def _write_all(
    session: Session, exposure: Exposure, folder: Path, home: Path, choices: ReportChoices
) -> None:
    from ergo.report.report import write_report  # what draws is loaded when needed

    write_session(session, folder, home)
    write_frames(session, folder)
    header, rows = episode_rows(exposure)
    write_rows(folder / "episodes.csv", header, rows)
    write_json(folder / "summary.json", exposure)
    write_report(
        session,
        exposure,
        lambda source, time_s: _fetched(session.recording.sources, source, time_s),
        folder,
        choices.language,
        blur_operator=choices.blur_operator,
        page=choices.page,
        all_changes=choices.all_changes,
    )


def _fetched(sources: Sequence[SourceFacts], name: str, time_s: float) -> PictureArray | None:
    """Return the picture of a moment, or None where the recording is gone."""
    facts = next(each for each in sources if each.name == name)
    try:
        return picture_at(facts, time_s)
    except ErgoError:
        return None
