import csv
import io
from dataclasses import replace
from urllib.parse import quote

import av
import cv2
import numpy as np
import pypdf
import pytest

from ergo.app.analyse import evaluate_session
from ergo.landmarks.names import INDEX
from ergo.library.library import open_library
from ergo.report.pictures.annotated import safe_picture
from ergo.report.pictures.faces import head_of
from ergo.web.routes.exports import file_name
from ergo.web.session.artefact_cache import Made
from tests.web.conftest import folder_of


def test_the_report_follows_the_notes_and_is_made_once_for_each(client, session_id, library_folder):
    path = f"/sessions/{session_id}/files"
    pdf = client.get(f"{path}/report.pdf?language=de")
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf.content)).pages)
    assert "kf_scaling.mp4" in text
    assert "attachment" in pdf.headers["content-disposition"]
    report = client.get(f"{path}/report.html?language=de")
    assert 'lang="de"' in report.text
    assert "sandbox" in report.headers["content-security-policy"]
    rows = list(csv.DictReader(io.StringIO(client.get(f"{path}/frames.csv?language=de").text)))
    assert len(rows) == 100
    assert len(list((library_folder / "made").iterdir())) == 1


def test_a_file_that_is_no_export_is_not_found(client, session_id):
    for name in ("session.json", "landmarks.parquet", "%2e%2e%2fx", "corrections.jsonl"):
        assert client.get(f"/sessions/{session_id}/files/{name}").status_code == 404


def test_the_annotated_clip_shows_every_analysed_picture(client, session_id, tmp_path):
    answer = client.get(f"/sessions/{session_id}/clips/0.mp4")
    assert answer.headers["content-type"] == "video/mp4"
    (tmp_path / "clip.mp4").write_bytes(answer.content)
    with av.open(str(tmp_path / "clip.mp4")) as container:
        frames = sum(1 for _ in container.decode(video=0))
        size = container.streams.video[0].width, container.streams.video[0].height
    assert size == (640, 480)
    assert frames >= 15
    assert "First%20day%2C%20kf_scaling.mp4" in quote(
        answer.headers["content-disposition"], safe="%"
    )
    assert client.get(f"/sessions/{session_id}/clips/1.mp4").status_code == 404


def test_a_still_comes_as_a_picture_to_keep(client, session_id):
    answer = client.get(f"/sessions/{session_id}/stills/4.jpg")
    picture = cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_COLOR)
    assert picture.shape == (480, 640, 3)
    assert answer.headers["content-disposition"] == (
        "attachment; filename*=utf-8''First%20day%2C%20kf_scaling%2C%200%20min%2000.8%20s.jpg"
    )
    assert client.get(f"/sessions/{session_id}/stills/100.jpg").status_code == 404


def test_what_lies_outside_the_operator_cannot_be_made_out(invented):
    chequered = np.indices((480, 640)).sum(axis=0) // 3 % 2 * 255
    picture = np.repeat(chequered[..., None], 3, axis=2).astype(np.uint8)
    recording = invented.recording
    safe = safe_picture(recording, 0, picture, blur_operator=False)
    blurred = safe_picture(recording, 0, picture, blur_operator=True)
    head = head_of(recording.tracks["operator"], 0, 480)
    place = (slice(int(head.y) - 8, int(head.y) + 8), slice(int(head.x) - 8, int(head.x) + 8))
    assert np.ptp(safe[20:60, 20:60]) < 80
    assert np.ptp(safe[place]) == 255
    assert np.ptp(blurred[place]) < 80


@pytest.mark.parametrize("query", ["", "?before=x&after=y"])
def test_a_comparison_needs_two_sessions_of_the_library(client, query):
    assert client.get(f"/comparison{query}").status_code == 404
    assert client.get(f"/comparison.html{query}").status_code == 404


def test_a_session_compared_with_itself_is_refused_in_one_line(client, session_id):
    answer = client.get(f"/comparison.html?before={session_id}&after={session_id}")
    assert answer.status_code == 422
    assert "both sides" in answer.json()["error"]


def test_two_sessions_are_compared_on_the_page_as_pdf_and_as_table(
    client, session_id, invented, library_folder, tmp_path
):
    recording = invented.recording
    track = recording.tracks["operator"]
    heads = track.picture_px.copy()
    heads[:, :, : INDEX["mouth_right"] + 1, 1] += 25  # the second day's head hangs lower
    seen = {"operator": replace(track, picture_px=heads)}
    second = evaluate_session(replace(recording, tracks=seen), invented.notes)
    with open_library(library_folder) as library:
        other = library.add(folder_of(second, tmp_path / "second"), "Second day").id
    query = f"?before={session_id}&after={other}"
    shown = client.get(f"/comparison{query}").text
    assert f"/comparison.csv{query.replace('&', '&amp;')}" in shown
    page = client.get(f"/comparison.html{query}&language=de")
    assert 'lang="de"' in page.text
    assert "sandbox" in page.headers["content-security-policy"]
    pdf = client.get(f"/comparison.pdf{query}&language=de")
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf.content)).pages)
    assert "First day" in text
    assert "Second day" in text
    table = client.get(f"/comparison.csv{query}&language=de")
    assert "attachment" in table.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(table.text)))
    head = next(
        row for row in rows if (row["kind"], row["name"]) == ("p50", "head_inclination_deg")
    )
    before, after = (
        np.median(session.posture.angle("head_inclination_deg")) for session in (invented, second)
    )
    assert float(head["before"]) == pytest.approx(before, abs=0.6)
    assert float(head["after"]) == pytest.approx(after, abs=0.6)
    assert float(head["change"]) == pytest.approx(after - before, abs=1)
    assert head["change_low"] == ""  # twenty seconds tell no interval


def test_old_exports_make_room_for_new_ones(tmp_path):
    made = Made(tmp_path)
    for number in range(20):
        (tmp_path / f"report-{number}").mkdir()
    made._make_room()
    assert len(list(tmp_path.iterdir())) == 11


@pytest.mark.parametrize(
    ("parts", "ending", "name"),
    [
        (
            ("First day", "kf_scaling", "0 min 04.8 s"),
            ".jpg",
            "First day, kf_scaling, 0 min 04.8 s.jpg",
        ),
        (("a/b", 'c:"d?'), ".mp4", "a_b, c__d_.mp4"),
        (("..",), " report.pdf", "ergo report.pdf"),
        (("\u00fc" * 300,), ".jpg", "\u00fc" * 98 + ".jpg"),
    ],
)
def test_files_to_keep_are_named_by_what_they_show(parts, ending, name):
    assert file_name(*parts, ending=ending) == name
