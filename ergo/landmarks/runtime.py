"""The networks' runtime and the bundles that carry them: loaded late, quiet, offline."""

import importlib
import os
import sys
import threading
import zipfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal

from ergo.errors import MissingLibrary

NetworkKind = Literal["heavy", "full"]
LANDMARK_MEMBER = "pose_landmarks_detector.tflite"
_MODELS = Path(__file__).parent / "models"
_NATIVE_LOCK = threading.RLock()


def bundle_path(kind: NetworkKind) -> Path:
    """Return where the bundle of one landmark network lies, or say it is missing."""
    path = _MODELS / f"pose_landmarker_{kind}.task"
    if not path.is_file():
        raise MissingLibrary(
            "is missing.", where=f"Model bundle {path.name}", remedy="Install ergo again."
        )
    return path


def bundle_member(kind: NetworkKind, member: str) -> bytes:
    """Return one network of a bundle as the bytes of its TFLite file."""
    try:
        with zipfile.ZipFile(bundle_path(kind)) as bundle:
            return bundle.read(member)
    except (zipfile.BadZipFile, KeyError, OSError) as error:
        raise MissingLibrary(
            "is damaged.", where=f"Model bundle of {kind!r}", remedy="Install ergo again."
        ) from error


@contextmanager
def quiet_native() -> Iterator[None]:
    """Keep what native code writes to stderr from the user.

    Only for the short while a native library starts: file descriptor 2 belongs
    to the whole process, so one thread at a time does this.
    """
    with _NATIVE_LOCK:
        sys.stderr.flush()
        kept = os.dup(2)
        nowhere = os.open(os.devnull, os.O_WRONLY)
        try:
            os.dup2(nowhere, 2)
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            os.close(nowhere)


_DEBIAN_PACKAGES = {
    "libGLES": "libgles2",
    "libEGL": "libegl1",
    "libGL": "libgl1",
    "libgthread": "libglib2.0-0",
    "libglib": "libglib2.0-0",
}


Branch = Callable[[Any, Any, Sequence[Any]], Any]
"""See :func:`compile_network`."""


@cache
def picture_library() -> Any:
    """Return the ``cv2`` package."""
    return _imported("cv2")


@cache
def people_library() -> Any:
    """Return MediaPipe's Tasks API for pictures (``mediapipe.tasks.python.vision``)."""
    picture_library()  # first, for the clearer message: both need the same libraries
    with quiet_native():
        return _imported("mediapipe.tasks.python.vision")


def _imported(name: str) -> Any:
    try:
        return importlib.import_module(name)
    except (ImportError, OSError) as error:
        raise MissingLibrary(
            f"cannot be loaded: {error}.", where=name.split(".")[0], remedy=_remedy(str(error))
        ) from error


def _remedy(trouble: str) -> str:
    for library, package in _DEBIAN_PACKAGES.items():
        if library in trouble:
            return f"Install the system package {package} (Debian, Ubuntu: apt install {package})."
    return "Install ergo again with its dependencies."


@cache
def inference_library() -> Any:
    """Return the ``openvino`` package without its model converter.

    Importing the converter (``openvino.tools.ovc``) sends a usage message to
    its maker. Nothing may leave this machine, so it is made unimportable while
    ``openvino`` loads; the package is written to do without it.
    """
    with _NATIVE_LOCK:
        converter = "openvino.tools.ovc"
        before = sys.modules.get(converter)
        sys.modules[converter] = None  # type: ignore[assignment]
        try:
            return _imported("openvino")
        finally:
            del sys.modules[converter]
            if before is not None:
                sys.modules[converter] = before


@cache
def _core() -> Any:
    return inference_library().Core()


def read_network(network: bytes) -> Any:
    """Return a TFLite network as the runtime's model; the runtime only reads named files."""
    with TemporaryDirectory(prefix="ergo-") as folder:
        path = Path(folder) / "network.tflite"
        path.write_bytes(network)
        return _core().read_model(path)


def compile_network(
    network: bytes,
    outputs: tuple[str, ...],
    at_once: int = 1,
    feeding: tuple[str, ...] = (),
    branch: Branch | None = None,
) -> Any:
    """Return a TFLite network compiled for the processor, for results that repeat.

    Parameters
    ----------
    network : bytes
        A TFLite file.
    outputs : tuple of str
        Names of the outputs wanted; whatever feeds only others is left out.
    at_once : int
        Inferences that may run beside each other, one thread each.
    feeding : tuple of str
        Names of outputs of which the input of the last convolution is wanted:
        what a branch starts from. The last of them is given out after ``outputs``.
    branch : callable, optional
        Grows one more output, given out last, from the network, a copy of it,
        and what ``feeding`` names in that copy.
    """
    library = inference_library()
    with quiet_native():
        whole = read_network(network)
        wanted = [whole.output(name).get_node().input_value(0) for name in outputs]
        wanted += [before_convolution(whole.output(name).get_node()) for name in feeding[-1:]]
        if branch is not None:
            copy = whole.clone()
            fed = [before_convolution(copy.output(name).get_node()) for name in feeding]
            wanted.append(branch(whole, copy, fed))
        model = library.Model(wanted, whole.get_parameters())
        return _core().compile_model(
            model,
            "CPU",
            {
                "INFERENCE_NUM_THREADS": at_once,
                "NUM_STREAMS": at_once,
                "INFERENCE_PRECISION_HINT": "f32",
                "ENABLE_CPU_PINNING": False,  # leave the choice of cores to the system
            },
        )


def before_convolution(node: Any) -> Any:
    """Return what goes into the convolution that an output comes from."""
    while node.get_type_name() != "Convolution":
        node = node.input_value(0).get_node()
    return node.input_value(0)
