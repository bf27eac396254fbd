import io
from base64 import b64decode
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from ergo.report.pictures import moment_pictures
from ergo.report.pictures.faces import HeadRegion, blur_heads, blur_outside, faces_in, head_of
from ergo.report.pictures.moment_pictures import bystander_heads, data_uri, moment_picture, outline


@pytest.fixture
def noise():
    return np.random.default_rng(5).integers(0, 255, (600, 800, 3), dtype=np.uint8)


def inside(head, share=0.8):
    rows, columns = np.ogrid[:600, :800]
    return np.hypot(columns - head.x, rows - head.y) < share * head.radius


def detail(picture, where):
    """Mean squared difference of neighbours: what is left to recognise."""
    grey = picture.astype(float).mean(axis=2)
    both = where[:, 1:] & where[:, :-1]
    return float(np.mean(np.diff(grey, axis=1)[both] ** 2))


def test_a_blurred_head_loses_nearly_all_detail_and_the_rest_none(noise):
    head = HeadRegion(300.0, 200.0, 60.0)
    blurred = blur_heads(noise, [head])
    assert detail(blurred, inside(head)) < 0.01 * detail(noise, inside(head))
    outside = ~inside(head, 1.05)
    assert np.array_equal(blurred[outside], noise[outside])


def test_a_head_half_outside_the_picture_is_blurred_too(noise):
    head = HeadRegion(5.0, 5.0, 50.0)
    assert detail(blur_heads(noise, [head]), inside(head)) < 0.01 * detail(noise, inside(head))


def test_the_patients_head_is_blurred_and_the_operators_is_kept(session, noise):
    picture = noise
    track = session.recording.tracks["patient"]
    patient = head_of(track, 0, 600)
    heads = bystander_heads(session, 0, picture)
    assert any(np.hypot(h.x - patient.x, h.y - patient.y) < 1 for h in heads)
    own = head_of(session.recording.tracks["operator"], 0, 600)
    blurred = blur_heads(picture, heads[:1])
    assert detail(blurred, inside(patient)) < 0.01 * detail(picture, inside(patient))
    assert np.array_equal(blurred[inside(own)], picture[inside(own)])


def test_a_patient_seen_only_a_moment_before_is_still_blurred(session, noise):
    track = session.recording.tracks["patient"]
    gaps = track.picture_px.copy()
    gaps[1:] = np.nan
    tracks = {**session.recording.tracks, "patient": replace(track, picture_px=gaps)}
    sparse = replace(session, recording=replace(session.recording, tracks=tracks))
    exact = head_of(track, 0, 600)
    near, far = bystander_heads(sparse, 10, noise), bystander_heads(sparse, 1000, noise)
    assert near[0].radius > exact.radius  # may have moved since
    assert not any(np.hypot(h.x - exact.x, h.y - exact.y) < 1 for h in far)


def test_a_person_found_only_by_a_face_is_blurred(session, noise, monkeypatch):
    face = HeadRegion(700.0, 100.0, 40.0)
    monkeypatch.setattr(moment_pictures, "faces_in", lambda picture: (face,))
    assert face in bystander_heads(session, 0, noise)


def test_the_operators_own_face_is_not_taken_for_a_bystander(session, noise, monkeypatch):
    own = head_of(session.recording.tracks["operator"], 0, 600)
    monkeypatch.setattr(moment_pictures, "faces_in", lambda picture: (own,))
    assert own not in bystander_heads(session, 0, noise)


def test_the_operators_face_is_blurred_on_request(session, fetch, monkeypatch):
    monkeypatch.setattr(moment_pictures, "drawn", lambda picture, points: picture)
    monkeypatch.setattr(moment_pictures, "_cropped", lambda picture, points: picture)
    own = inside(head_of(session.recording.tracks["operator"], 0, 600), 0.5)
    shown = moment_picture(session, 0, fetch)
    hidden = moment_picture(session, 0, fetch, blur_operator=True)
    assert detail(hidden, own) < 0.02 * detail(shown, own)


def test_the_surroundings_are_blurred_so_that_nobody_overlooked_is_shown(session, noise):
    points = session.recording.tracks["operator"].picture_px[0, 0, :, :2]
    keep = outline(points, noise.shape)
    blurred = blur_outside(noise, keep)
    assert np.array_equal(blurred[keep], noise[keep])
    corner = np.zeros((600, 800), bool)
    corner[:60, :60] = True
    assert detail(blurred, corner) < 0.05 * detail(noise, corner)


def test_no_face_is_found_in_an_empty_picture():
    assert faces_in(np.full((480, 640, 3), 128, np.uint8)) == ()


def test_the_landmarks_are_drawn_in(session, fetch):
    plain = fetch("", 0.0)
    drawn = moment_picture(session, 0, fetch)
    assert drawn.shape[0] < plain.shape[0]  # cropped to the operator
    assert np.any(np.all(drawn == (244, 236, 214), axis=2))


def test_a_recording_that_is_gone_gives_no_picture(session):
    assert moment_picture(session, 0, lambda source, time_s: None) is None


def test_a_picture_travels_inside_the_page(noise):
    head, code = data_uri(noise).split(",")
    assert head == "data:image/jpeg;base64"
    assert Image.open(io.BytesIO(b64decode(code))).size == (720, 540)
