import os

import pytest

from ergo.errors import MissingLibrary
from ergo.landmarks import runtime


def test_a_missing_bundle_is_named(monkeypatch, tmp_path):
    monkeypatch.setattr(runtime, "_MODELS", tmp_path)
    with pytest.raises(MissingLibrary, match=r"pose_landmarker_heavy\.task is missing"):
        runtime.bundle_path("heavy")


def test_a_damaged_bundle_is_an_error_of_ours(monkeypatch, tmp_path):
    (tmp_path / "pose_landmarker_full.task").write_bytes(b"not a bundle")
    monkeypatch.setattr(runtime, "_MODELS", tmp_path)
    with pytest.raises(MissingLibrary, match="damaged"):
        runtime.bundle_member("full", runtime.LANDMARK_MEMBER)


@pytest.mark.parametrize(
    ("library", "package"),
    [
        ("libGL.so.1", "libgl1"),
        ("libEGL.so.1", "libegl1"),
        ("libGLESv2.so.2", "libgles2"),
        ("libgthread-2.0.so.0", "libglib2.0-0"),
    ],
)
def test_a_missing_system_library_names_the_package_to_install(monkeypatch, library, package):
    def fails(name):
        raise ImportError(f"{library}: cannot open shared object file")

    monkeypatch.setattr(runtime.importlib, "import_module", fails)
    runtime.picture_library.cache_clear()
    with pytest.raises(MissingLibrary, match=rf"apt install {package}\b"):
        runtime.picture_library()
    runtime.picture_library.cache_clear()


def test_native_noise_does_not_reach_the_user_and_stderr_works_again(capfd):
    with runtime.quiet_native():
        os.write(2, b"noise of a library")
    os.write(2, b"a word of ours")
    assert capfd.readouterr().err == "a word of ours"
