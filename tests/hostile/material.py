"""What attacks start from: whole pictures, clips, a session, a pack, a page; made once."""

import io
import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
from PIL import Image
from starlette.testclient import TestClient

from ergo.app.workflow import load_session
from ergo.library.library import open_library
from ergo.session.session import Session
from ergo.web.app import create_app
from ergo.web.guard import Keys
from tests.frames.clip_making import make_clip
from tests.storage.small_session import write_small_session

HOME = "http://127.0.0.1:8000"
SAMPLE = Path(__file__).parents[2] / "sample_frames"
NAME = "Before, room 1"


@dataclass
class Material:
    """Everything below ``folder``; nothing is made before it is asked for."""

    folder: Path

    @cached_property
    def pictures(self) -> dict[str, bytes]:
        """Whole stills by ending."""
        chance = np.random.default_rng(3)
        grey = np.clip(chance.normal(120, 40, (90, 120, 3)), 0, 255).astype(np.uint8)
        image = Image.fromarray(grey)
        kinds = {
            "jpg": {"format": "JPEG"},
            "jpeg": {"format": "JPEG", "progressive": True},
            "png": {"format": "PNG"},
            "webp": {"format": "WEBP"},
            "tif": {"format": "TIFF"},
            "tiff": {"format": "TIFF", "compression": "tiff_adobe_deflate"},
        }
        made = {}
        for suffix, how in kinds.items():
            file = io.BytesIO()
            image.save(file, **how)
            made[suffix] = file.getvalue()
        file = io.BytesIO()
        pillow_heif.from_pillow(image.resize((128, 96))).save(file, quality=80)
        return made | {"heic": file.getvalue()}

    @cached_property
    def clips(self) -> dict[str, bytes]:
        """Whole clips by name."""
        times_ms = [40 * n for n in range(60)]
        ways: dict[str, dict[str, Any]] = {
            "a.mp4": {"codec": "libx264"},
            "b.mp4": {"codec": "mpeg4", "options": {"movflags": "frag_keyframe+empty_moov"}},
            "a.mov": {"codec": "mpeg4"},
            "a.mkv": {"codec": "libx264"},
            "a.avi": {"codec": "mpeg4"},
            "a.webm": {"codec": "libvpx"},
        }
        folder = self.folder / "clips"
        folder.mkdir(exist_ok=True)
        return {name: make_clip(folder / name, times_ms, **how).read_bytes()
                for name, how in ways.items()}  # fmt: skip

    @cached_property
    def session_folder(self) -> Path:
        """A small session folder; to be copied, not changed."""
        return write_small_session(self.folder / "session")

    @cached_property
    def session(self) -> Session:
        """The small session, judged."""
        return load_session(self.session_folder)

    @cached_property
    def description(self) -> Any:
        """The small session's ``session.json``."""
        return json.loads((self.session_folder / "session.json").read_text(encoding="utf-8"))

    @cached_property
    def library_folder(self) -> Path:
        """A library with that session; to be copied, not changed."""
        folder = self.folder / "library"
        with open_library(folder) as library:
            library.add(self.session_folder, NAME, tags=("room 1",), operator="KF")
        return folder

    @cached_property
    def pack(self) -> bytes:
        """The session as a zip."""
        with open_library(self.library_folder) as library:
            library.export(NAME, self.folder / "pack.zip")
        return (self.folder / "pack.zip").read_bytes()

    @contextmanager
    def library_copy(self, folder: Path) -> Iterator[Path]:
        """Give a copy of the library in ``folder`` to be attacked."""
        shutil.copytree(self.library_folder, folder / "library")
        yield folder / "library"

    @cached_property
    def page(self) -> TestClient:
        """A client that has opened the page over a library of its own."""
        folder = self.folder / "page"
        clip = folder / "recordings" / "clip.mp4"
        clip.parent.mkdir(parents=True)
        shutil.copy(SAMPLE / "kf_scaling.mp4", clip)
        with open_library(folder / "library") as library:
            library.add(self._seen_in(clip, folder / "session"), NAME, tags=("room 1",))
        keys = Keys()
        client = TestClient(
            create_app(folder / "library", keys), base_url=HOME, raise_server_exceptions=False
        )
        client.__enter__()
        client.get(f"/open?key={keys.secret}")
        client.headers["origin"] = HOME
        return client

    def _seen_in(self, clip: Path, folder: Path) -> Path:
        from ergo.storage.session_folder import write_session

        facts = replace(self.session.recording.sources[0], path=clip)
        recording = replace(self.session.recording, sources=(facts,))
        folder.mkdir()
        write_session(replace(self.session, recording=recording), folder)
        return folder

    @cached_property
    def page_session(self) -> str:
        """Id of the session on the page."""
        return str(self.page.get("/api/sessions").json()[0]["id"])

    def close(self) -> None:
        """End what was started."""
        if "page" in self.__dict__:
            self.page.__exit__(None, None, None)
