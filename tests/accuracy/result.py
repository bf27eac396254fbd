"""Answers of the program against the truth of a set, and the same without the learned part."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ergo.arrays import BoolArray, FloatArray, StepArray
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.posture.posture_track import PostureTrack
from ergo.scores.methods import score_all
from ergo.scores.table import band_table
from ergo.storage.session_folder import StoredSession
from tests.accuracy.measures import (
    Agreement,
    Error,
    Finding,
    agreement_of,
    error_of,
    finding_of,
)
from tests.accuracy.people import is_the_operator
from tests.accuracy.plain import plain_hybrid
from tests.accuracy.program import Answers, analyse, lay_out, read_answers, reuse_landmarks
from tests.accuracy.sets import PictureSet
from tests.accuracy.truth import (
    POOLED,
    TRUE_COLUMN,
    NoPicture,
    Truth,
    angle_table,
    beside_truth,
    nearest,
)

Errors = Mapping[str, Error]

_BANDS = {
    "neck": ("rula_neck", ("neck_flexion_deg",)),
    "trunk": ("rula_trunk", ("trunk_flexion_deg",)),
    "upper arm": ("rula_upper_arm", ("shoulder_flexion_deg_left", "shoulder_flexion_deg_right")),
}
"""Printed name to band table and the angles it is looked up with."""

_SIDES = ("left", "right")

OTHER_READINGS: Mapping[str, Mapping[str, str]] = {
    "elbow, abduction not told: not judged": {"arm_not_measurable": "not-judged"},
    "turns not told: strained": {"turn_not_measurable": "strained"},
    "score of the measured angles": {"score_shown": "of-the-angles"},
}
"""Printed name to the readings under which the same angles are scored once more."""


@dataclass(frozen=True, slots=True, eq=False)
class Result:
    """All that the bench prints of one run.

    Attributes
    ----------
    title : str
    camera : str
        ``"known"`` or ``"nothing"``.
    finding : Finding
    whole, of_operator, plain, no_picture : mapping of str to Error
        Row of the table to its error: of the program, of the program where it
        found the right person, of the same landmarks without the learned
        correction, and of the train set's median.
    by_view, plain_by_view : mapping of str to mapping
        Errors by camera view.
    bands, steps : mapping of str to Agreement
        Of the band of the angle alone, and of the step with its additions.
    grand : Agreement
        Of the RULA grand score, both sides.
    grand_otherwise : mapping of str to Agreement
        The same under other readings, by the names of ``OTHER_READINGS``.
    promised_within_one : float
        Mean probability, by the program itself, that its score is within 1, 0..1.
    """

    title: str
    camera: str
    finding: Finding
    whole: Errors
    of_operator: Errors
    plain: Errors
    no_picture: Errors
    by_view: Mapping[str, Errors]
    plain_by_view: Mapping[str, Errors]
    bands: Mapping[str, Agreement]
    steps: Mapping[str, Agreement]
    grand: Agreement
    grand_otherwise: Mapping[str, Agreement]
    promised_within_one: float


def result_of(pictures: PictureSet, camera: str, work: Path, fallback: NoPicture) -> Result:
    """Run the program on a set and compare what it wrote with the truth.

    Parameters
    ----------
    camera : str
        ``"known"``: the camera is in the notes; ``"nothing"``: there are no notes.
    work : Path
        Folder for the copies and for the program's output.
    """
    known = pictures.cameras if camera == "known" else pictures.unknown_cameras
    name = f"{pictures.name}_{camera}"
    inputs = lay_out(work / f"{pictures.name}_pictures", known)
    reuse_landmarks(work, pictures.name, work / name)
    analyse([inputs], work / name, pictures.options)
    answers, stored = read_answers(work / name)
    truths = [
        nearest(pictures.truths, source, time_s)
        for source, time_s in zip(answers.source, answers.time_s, strict=True)
    ]
    plain = plain_hybrid(stored)
    return compared(name, camera, answers, truths, stored, plain, fallback)


def compared(
    title: str,
    camera: str,
    answers: Answers,
    truths: list[Truth],
    stored: StoredSession,
    plain: PostureTrack,
    fallback: NoPicture,
) -> Result:
    """Compare answers with the truth of the same frames."""
    truth = angle_table(truths)
    views = tuple(dict.fromkeys(each.view for each in truths))
    rows = {view: np.array([each.view == view for each in truths]) for view in views}
    errors = _comparison(truth, fallback)
    constant = np.broadcast_to(fallback.median, truth.shape)
    spreads = np.broadcast_to(fallback.spread, truth.shape)
    everywhere = np.ones(len(truths), dtype=np.bool_)
    answered = beside_truth(answers.value), beside_truth(answers.sd)
    hybrid = beside_truth(plain.value), beside_truth(plain.sd)
    is_right = answers.found & is_the_operator(answers.operator_px, truths)
    return Result(
        title=title,
        camera=camera,
        finding=_finding(answers, truths),
        whole=errors(*answered, everywhere),
        of_operator=errors(*answered, is_right),
        plain=errors(*hybrid, everywhere),
        no_picture=errors(constant, spreads, everywhere),
        by_view={view: errors(*answered, rows[view]) for view in views},
        plain_by_view={view: errors(*hybrid, rows[view]) for view in views},
        bands=_bands(truth, answers.value),
        promised_within_one=float(np.nanmean([answers.promised[side] for side in _SIDES])),
        **_agreements(truth, answers, stored),
    )


def _comparison(
    truth: FloatArray, fallback: NoPicture
) -> Callable[[FloatArray, FloatArray, BoolArray], Errors]:
    def errors(value: FloatArray, sd: FloatArray, frames: BoolArray) -> Errors:
        return {
            row: _pooled_error(truth[frames], value[frames], sd[frames], names, fallback)
            for row, names in POOLED.items()
        }

    return errors


def _pooled_error(
    truth: FloatArray, value: FloatArray, sd: FloatArray, names: Sequence[str], fallback: NoPicture
) -> Error:
    columns = [TRUE_COLUMN[name] for name in names]
    spread = float(np.mean(fallback.spread[columns]))
    return error_of(
        truth[:, columns].ravel(), value[:, columns].ravel(), sd[:, columns].ravel(), spread
    )


def _finding(answers: Answers, truths: list[Truth]) -> Finding:
    return finding_of(
        tuple(
            f"{source} at {time_s:.2f} s" if time_s else source
            for source, time_s in zip(answers.source, answers.time_s, strict=True)
        ),
        np.array([each.visible_share >= 0.5 for each in truths]),
        answers.found,
        is_the_operator(answers.operator_px, truths),
    )


def _bands(truth: FloatArray, value: FloatArray) -> dict[str, Agreement]:
    found = {}
    for part, (table_name, names) in _BANDS.items():
        table = band_table(table_name)
        columns = [COLUMN[name] for name in names]
        found[part] = agreement_of(
            table.step(truth[:, columns].ravel()), table.step(value[:, columns].ravel())
        )
    return found


def _agreements(
    truth: FloatArray, answers: Answers, stored: StoredSession
) -> dict[str, Agreement | dict[str, Agreement]]:
    exact = truth[:, : len(NAMES)]
    readings = stored.recording.settings.readings
    true_steps = _rula_steps(exact, np.where(np.isfinite(exact), 0.0, np.nan), stored, readings)

    def agreement(part: str, steps: Mapping[str, StepArray] = answers.steps) -> Agreement:
        columns = [f"rula_{side}_{part}" for side in _SIDES]
        return agreement_of(
            np.concatenate([true_steps[column] for column in columns]),
            np.concatenate([steps[column] for column in columns]),
        )

    return {
        "steps": {part: agreement(part.replace(" ", "_")) for part in _BANDS},
        "grand": agreement("score"),
        "grand_otherwise": {
            name: agreement(
                "score", _rula_steps(answers.value, answers.sd, stored, {**readings, **other})
            )
            for name, other in OTHER_READINGS.items()
        },
    }


def _rula_steps(
    value: FloatArray, sd: FloatArray, stored: StoredSession, readings: Mapping[str, str]
) -> dict[str, StepArray]:
    """Return the RULA steps and scores of angles, held as long and with the same notes."""
    posture = PostureTrack(
        value=value,
        sd=sd,
        person_found=np.ones(len(value), dtype=np.bool_),
        is_bridged=np.zeros(len(value), dtype=np.bool_),
    )
    found: dict[str, StepArray] = {}
    for score in score_all(stored.recording.timeline, posture, stored.notes, readings):
        if score.method == "rula":
            found |= {f"rula_{score.side}_{part}": steps for part, steps in score.steps.items()}
            found[f"rula_{score.side}_score"] = score.score
    return found
