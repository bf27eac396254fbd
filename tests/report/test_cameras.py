"""The report of a session that several cameras filmed."""

from dataclasses import replace

import numpy as np
import pytest

from ergo.camera.camera import Camera
from ergo.multi_camera.alignment import Start
from ergo.notes.notes import Notes
from ergo.posture.angle_names import COLUMN, NAMES
from ergo.report.report import write_report
from ergo.report.text.cameras import start_sentences, together_sentences, view_shares
from ergo.report.text.recording_tables import seen_table, together_table
from ergo.report.text.words import words
from ergo.session.session import Beside, Joined
from ergo.session.several_cameras import part_of
from tests.report.conftest import CLIP

SECOND = "rear.mp4"


@pytest.fixture(scope="module")
def joined(session):
    """The invented session, also seen from the rear by a camera that began 1.3 s earlier."""
    own = part_of(session.recording, 0)
    other = replace(
        own,
        sources=(replace(own.sources[0], name=SECOND),),
        damage={SECOND: "the file ends early."},
    )
    frames = len(session.posture)
    counted = np.zeros((frames, len(NAMES)), dtype=np.int64)
    counted[: frames // 4, COLUMN["neck_flexion_deg"]] = 1
    counted[-frames // 2 :, COLUMN["neck_flexion_deg"]] = 2
    counted[:, COLUMN["trunk_twist_deg"]] = -1
    beside = Beside(other, Notes(), Start(-1.3, "sound", 0.914, 0.021))
    cameras = (*session.cameras, Camera(800, 600, 700.0, (400.0, 300.0), level_origin="notes"))
    return replace(
        session,
        recording=replace(own, beside=(beside,)),
        joined=Joined((CLIP, SECOND), cameras, counted),
    )


def test_when_and_how_the_second_camera_began_is_said_in_every_language(joined):
    assert start_sentences(joined, words("en")) == [
        f"rear.mp4 began 1.30 s before {CLIP}. Found by the sound of both (likeness 0.91 of 1). "
        "Its first and second half, each on its own, agree to 0.02 s."
    ]
    assert start_sentences(joined, words("de")) == [
        f"rear.mp4 begann 1,30 s vor {CLIP}. Bestimmt am Ton beider Aufnahmen (Ähnlichkeit 0,91 "
        "von 1). Erste und zweite Hälfte, jede für sich, stimmen auf 0,02 s überein."
    ]


def test_a_stated_start_claims_no_likeness(joined):
    beside = replace(joined.recording.beside[0], start=Start(4.0, "notes"))
    stated = replace(joined, recording=replace(joined.recording, beside=(beside,)))
    assert start_sentences(stated, words("en")) == [
        f"rear.mp4 began 4.00 s after {CLIP}. So the notes say."
    ]


def test_the_share_of_every_view_is_of_the_time_in_which_the_angle_is_told(joined):
    assert view_shares(joined, "neck_flexion_deg") == pytest.approx([0.25, 0.25, 0.5], abs=0.001)
    assert np.isnan(view_shares(joined, "trunk_twist_deg")).all()


def test_the_table_names_the_views_and_their_shares(joined, exposure):
    table = together_table(joined, exposure, words("en"))
    assert table.columns == ("Angle", CLIP, SECOND, "Two cameras together")
    by_angle = {row[0]: row[1:] for row in table.rows}
    assert by_angle[words("en").name("angle", "neck_flexion_deg")] == (
        "25\u00a0%",
        "25\u00a0%",
        "50\u00a0%",
    )


def test_every_camera_has_its_row_of_what_was_seen(joined):
    rows = seen_table(joined, words("en")).rows
    assert [row[0] for row in rows] == [CLIP, SECOND]
    assert "the file ends early." in rows[1][4]
    assert "from the notes" in rows[1][4]


def test_lines_that_never_crossed_are_not_claimed(joined):
    alone = replace(joined.joined, counted=np.minimum(joined.joined.counted, 1))
    apart = together_sentences(replace(joined, joined=alone), words("en"))
    assert apart[-1].startswith("How the cameras stand to each other could not be told")
    assert together_sentences(joined, words("en"))[-1].startswith("Where two cameras see")


def test_one_camera_says_nothing_of_several(session, exposure):
    assert together_sentences(session, words("en")) == []
    assert together_table(session, exposure, words("en")) is None


@pytest.mark.parametrize("page", [None, "/sessions/invented"])
def test_the_report_of_several_cameras_is_written_with_and_without_a_page(
    joined, exposure, tmp_path, page
):
    write_report(joined, exposure, lambda *_: None, tmp_path, page=page)
    report = (tmp_path / "report.html").read_text()
    assert "<h3>Several cameras</h3>" in report
    assert "Two cameras together" in report
