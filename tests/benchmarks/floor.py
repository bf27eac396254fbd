"""What analysing a clip costs at the very least: decoding it, and one bare pass a frame."""

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import av
import numpy as np

from ergo.arrays import PictureArray
from ergo.landmarks.joints import joint_branch
from ergo.landmarks.runtime import (
    LANDMARK_MEMBER,
    bundle_member,
    bundle_path,
    compile_network,
    quiet_native,
)
from tests.benchmarks.timing import Cost, cost_of

CROP_PX = 256
FEEDING = ("Identity_3", "Identity")  # texture and impression, from which joints are read
_OUTPUTS = ("Identity", "Identity_1", "Identity_3", "Identity_4")  # all but the segmentation


def cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0))


def decoding(clip: Path) -> Cost:
    """Return what decoding every picture of a clip takes, with all cores."""

    def decode_all() -> None:
        with av.open(str(clip)) as container:
            container.streams.video[0].thread_type = "AUTO"
            for _ in container.decode(video=0):
                pass

    return cost_of(decode_all)


def heavy_network() -> Any:
    """Return MediaPipe's heavy landmark network as it is, compiled for all cores."""
    return compile_network(bundle_member("heavy", LANDMARK_MEMBER), _OUTPUTS, cores())


def own_network() -> Any:
    """Return the landmark network that the program looks with: heavy, with joint centres."""
    network = bundle_member("heavy", LANDMARK_MEMBER)
    return compile_network(network, _OUTPUTS, cores(), FEEDING, joint_branch)


def bare_passes(compiled: Any, frames: int) -> Cost:
    """Return what one pass a frame takes, spread over all cores: no crop, no landmarks."""
    requests = [compiled.create_infer_request() for _ in range(cores())]
    crop = np.random.default_rng(0).random((1, CROP_PX, CROP_PX, 3), dtype=np.float32)
    shares = [len(range(worker, frames, len(requests))) for worker in range(len(requests))]

    def passes(worker: int) -> None:
        for _ in range(shares[worker]):
            requests[worker].infer([crop])

    passes_of_each = range(len(requests))
    for worker in passes_of_each:
        requests[worker].infer([crop])  # the first pass of a network is slower
    with ThreadPoolExecutor(len(requests)) as pool:
        return cost_of(lambda: list(pool.map(passes, passes_of_each)))


def pictures_of(clip: Path, rate_hz: float) -> Iterator[tuple[int, PictureArray]]:
    """Yield time [ms] and RGB picture of ``rate_hz`` pictures a second."""
    due_s = 0.0
    with av.open(str(clip)) as container:
        for frame in container.decode(video=0):
            if frame.time + 1e-6 >= due_s:
                due_s += 1 / rate_hz
                yield round(1000 * frame.time), frame.to_ndarray(format="rgb24")


def tasks_passes(pictures: list[tuple[int, PictureArray]]) -> Cost:
    """Return what MediaPipe's own heavy landmarker takes for the same pictures, one person."""
    from mediapipe import Image, ImageFormat
    from mediapipe.tasks.python import BaseOptions
    from mediapipe.tasks.python.vision import (
        PoseLandmarker,
        PoseLandmarkerOptions,
        RunningMode,
    )

    options = PoseLandmarkerOptions(
        base_options=BaseOptions(model_asset_path=str(bundle_path("heavy"))),
        running_mode=RunningMode.VIDEO,
        num_poses=1,
    )

    def look_at_all() -> None:
        for time_ms, picture in pictures:
            image = Image(image_format=ImageFormat.SRGB, data=np.ascontiguousarray(picture))
            landmarker.detect_for_video(image, time_ms)

    with quiet_native(), PoseLandmarker.create_from_options(options) as landmarker:
        return cost_of(look_at_all)
