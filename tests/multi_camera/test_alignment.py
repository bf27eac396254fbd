"""How two recordings lie in time: by signals with a known offset."""

import numpy as np
import pytest
from scipy.signal import lfilter

from ergo.landmarks.names import LANDMARKS
from ergo.landmarks.pose_track import PoseTrack
from ergo.multi_camera.alignment import movement, start_of

RATE_HZ = 100.0


def talk(chance, samples):
    """Loudness of somebody talking: syllables of 80 to 300 ms, now and then a pause."""
    loud, at = np.full(samples, -9.0), 0
    while at < samples:
        at += int(chance.exponential(150)) if chance.random() < 0.15 else 0
        length = int(chance.uniform(8, 30))
        syllable = chance.normal(-3, 1) - 2 * np.abs(np.linspace(-1, 1, length))
        part = loud[at : at + length]
        part[:] = np.maximum(part, syllable[: len(part)])
        at += length
    return loud


def heard(chance, loud, gain, noise, echo):
    """What a phone keeps of it: another gain, the room's echo, its own noise."""
    power = lfilter([1 - echo], [1, -echo], np.exp(loud + gain))
    return np.log(power + np.exp(noise) * chance.gamma(8, 1 / 8, len(loud)))


@pytest.mark.parametrize("shift_s", [-12.3, 0.0, 4.17])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_two_phones_that_hear_the_same_talk_are_laid_within_a_frame(shift_s, seed):
    chance = np.random.default_rng(seed)
    room = talk(chance, 12000)
    first = room[3000:9000]
    second = room[3000 + round(shift_s * RATE_HZ) :][:5000]
    start = start_of(
        heard(chance, first, 0.0, -6.0, 0.5),
        heard(chance, second, -2.0, -6.0, 0.6),
        RATE_HZ,
        "sound",
    )
    assert start.origin == "sound"
    assert start.offset_s == pytest.approx(shift_s, abs=1 / 30)
    assert start.halves_apart_s < 1 / 30


@pytest.mark.parametrize("samples", [1500, 6000])
def test_phones_that_hear_different_talks_are_not_laid_together(samples):
    for seed in range(20):
        chance = np.random.default_rng(100 + seed)
        talks = [heard(chance, talk(chance, samples), 0.0, -6.0, 0.5) for _ in range(2)]
        assert start_of(*talks, RATE_HZ, "sound") is None


@pytest.mark.parametrize("loud", [np.zeros(4000), np.full(4000, np.nan)])
def test_silence_tells_nothing(loud):
    chance = np.random.default_rng(6)
    assert start_of(loud, talk(chance, 4000), RATE_HZ, "sound") is None
    assert start_of(loud, loud, RATE_HZ, "sound") is None


def test_recordings_that_are_too_short_tell_nothing():
    assert start_of(np.arange(10.0), np.arange(10.0), RATE_HZ, "sound") is None


def test_clocks_that_drift_show_in_the_halves():
    chance = np.random.default_rng(7)
    room = talk(chance, 20000)
    late = np.interp(np.arange(19000) * 1.001, np.arange(20000), room)
    start = start_of(room[:19000], late, RATE_HZ, "sound")
    assert start.halves_apart_s == pytest.approx(95 * 0.001, abs=0.03)  # halves are 95 s apart


def nodding(chance, time_s, scale):
    """Landmarks of somebody who bends forward every now and then, as one camera sees it."""
    places = np.zeros((len(time_s), 1, len(LANDMARKS), 3))
    places[:, 0, :, :2] = chance.uniform(100, 400, (len(LANDMARKS), 2))
    places[:, 0, 11:13, 1], places[:, 0, 23:25, 1] = 200.0, 200.0 + 100 * scale
    bent = np.interp(time_s, [0, 7, 8, 15, 15.6, 22, 24, 40], [0, 0, 1, 1, 0.2, 0.2, 0.9, 0.9])
    places[:, 0, :, 0] += 60 * scale * bent[:, None] * chance.uniform(0.5, 1.5, len(LANDMARKS))
    places[..., :2] += chance.normal(0, 0.3 * scale, places[..., :2].shape)
    ones = np.ones(len(time_s))
    return PoseTrack("operator", ("heavy",), places, places, np.ones(places.shape[:3]), ones, ones)


def test_movements_seen_by_two_cameras_are_laid_within_a_frame():
    chance = np.random.default_rng(8)
    first_s, second_s = np.arange(0, 30, 0.2), np.arange(0, 26, 0.2)
    first = nodding(chance, first_s, 1.0)
    second = nodding(chance, second_s + 2.7, 1.6)
    start = start_of(
        movement(first, first_s, 50.0), movement(second, second_s, 50.0), 50.0, "movement"
    )
    assert start.origin == "movement"
    assert start.offset_s == pytest.approx(2.7, abs=0.2)


def wandering(seed, samples):
    """Somebody who moves now and then, at moments of their own."""
    chance = np.random.default_rng(seed)
    moves = np.zeros(samples)
    moves[
        np.cumsum(chance.exponential(60, samples // 40).astype(int) + 10).clip(0, samples - 1)
    ] = 1
    return np.log(np.convolve(moves, np.hanning(20), "same") + 0.1)


def test_people_who_move_at_other_times_are_not_laid_together():
    found = [
        start_of(wandering(seed, 6000), wandering(seed + 50, 6000), 20.0, "movement")
        for seed in range(20)
    ]
    assert found == [None] * 20
    same = start_of(wandering(1, 6000), wandering(1, 6000)[900:], 20.0, "movement")
    assert same.offset_s == pytest.approx(45.0, abs=0.01)


def test_movement_is_not_known_where_nobody_was_seen():
    time_s = np.arange(0, 20, 0.2)
    track = nodding(np.random.default_rng(9), time_s, 1.0)
    track.picture_px[40:60] = np.nan
    speed = movement(track, time_s, 5.0)
    assert np.isnan(speed[40:60]).all()
    assert np.isfinite(speed[4:36]).all()
