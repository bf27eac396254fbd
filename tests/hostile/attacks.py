"""The attacks: each does one hostile thing and lets the program answer.

An attack raises what the program raises; what it proves beyond that (nothing left behind,
nothing outside touched) it asserts itself. :data:`ATTACKS` says how many of all cases are
of each kind.
"""

import contextlib
import json
import os
import random
import shutil
import sqlite3
import string
import subprocess
import sys
import zipfile
from collections.abc import Callable
from fractions import Fraction
from http import HTTPStatus
from io import BytesIO
from pathlib import Path
from typing import Any

import av
import numpy as np
import tomli_w
from PIL import Image

from ergo.app.analyse import evaluate_session
from ergo.app.workflow import exposure_of_session, load_session
from ergo.camera.set_up import solve_set_up
from ergo.frames.clips import ClipSource
from ergo.frames.find import find_sources
from ergo.frames.frame import SourceFacts
from ergo.frames.sound import loudness
from ergo.frames.stills import StillSource
from ergo.library.library import open_library
from ergo.notes.notes import Notes
from ergo.notes.reading import read_notes
from ergo.printable import printable
from ergo.storage.folder import check_file_free, check_free
from ergo.storage.tables import frames_table
from ergo.web.app import ROUTES
from ergo.web.guard import CHUNK_TYPE
from ergo.web.routes.openapi import description
from ergo.whole import being_made, fresh_file, write_folder
from tests.hostile.material import NAME, Material
from tests.hostile.values import NUMBERS, TEXTS, altered, any_value, damaged


class RefusedWell(Exception):
    """The page refused as documented."""


Attack = Callable[[random.Random, Path, Material], None]

ROOT = Path(__file__).parents[2]
MOST_PICTURES = 200
"""So many pictures of a clip are looked at."""
SMALL = SourceFacts("a.mp4", Path("a.mp4"), "clip", 640, 480, 2.4, 30.0, None, "0" * 64)


# --- notes -------------------------------------------------------------------------------

WHOLE_NOTES: dict[str, Any] = {
    "handed": "right",
    "operator_height_cm": 171,
    "operator": {"at": [304, 167], "time_s": 0.0},
    "neutral": {"time_s": 0.4},
    "begins_s": 3.2,
    "camera": {"horizontal_fov_deg": 66, "pitch_deg": -12.5, "roll_deg": 0.0, "height_m": 1.5},
    "clock": [{"hours": 10.5, "from_s": 0, "to_s": 95}],
    "tasks": [{"task": "scaling", "mouth_area": "lower front"}],
    "support": [{"trunk": False, "arm_left": False, "feet": True}],
    "force": [{"load_kg": 0.2}],
    "excluded": [{"from_s": 1, "to_s": 2, "reason": "telephone"}],
    "landmarks": [{"name": "nose", "time_s": 0.2, "at": [300, 160]}],
    "setup": {
        "head": [273, 217],
        "head_end": [288, 236],
        "foot_end": [70, 240],
        "chair_length_m": 1.78,
        "vertical": [{"ends": [[612, 90], [618, 330]]}],
        "floor": [
            {
                "corners": [[300, 400], [352, 398], [361, 431], [302, 434]],
                "first_side_m": 0.6,
                "second_side_m": 0.6,
            }
        ],
    },
}


def hostile_toml(rng: random.Random) -> bytes:
    whole = tomli_w.dumps({k: v for k, v in WHOLE_NOTES.items() if rng.random() < 0.4}).encode()
    match rng.randrange(8):
        case 0 | 1:
            return damaged(whole or b"a = 1\n", rng)
        case 2:
            return b"begins_s = " + b"9" * rng.choice((400, 3000, 5000))
        case 3:
            return b"setup = " + rng.choice((b"[", b"{a=", b"[{a=")) * rng.choice((40, 900, 4000))
        case 4:
            dotted = ".".join(["a"] * rng.choice((20, 900, 100_000)))
            return rng.choice((f"{dotted} = 1\n", f"[{dotted}]\n")).encode()
        case 5:
            return (rng.choice(string.ascii_letters) * rng.choice((4000, 10**6))).encode() + b" = 1"
        case 6:
            return rng.randbytes(rng.randrange(1, 4000))
        case _:
            with contextlib.suppress(TypeError, ValueError, RecursionError):
                return tomli_w.dumps(altered(WHOLE_NOTES, rng)).encode(errors="surrogatepass")
            return b"\xef\xbb\xbf" + whole


def notes(rng: random.Random, folder: Path, material: Material) -> None:
    """Notes beside a clip: read, and if they are taken, followed through the whole judgement."""
    (folder / rng.choice(("a.toml", "ergo.toml"))).write_bytes(hostile_toml(rng))
    stated = read_notes(folder / "a.mp4")
    if stated != Notes() and rng.random() < 0.3:
        _judged(stated, material)


def meanings(rng: random.Random, folder: Path, material: Material) -> None:
    """Notes of the right form whose meaning is odd: judged, summed up and put into tables."""
    try:
        content = json.loads(json.dumps(altered(WHOLE_NOTES, rng)))
        (folder / "a.toml").write_text(tomli_w.dumps(content), encoding="utf-8")
    except (TypeError, ValueError, RecursionError):  # no TOML: nothing to be attacked with
        return
    _judged(read_notes(folder / "a.mp4"), material)


def _judged(stated: Notes, material: Material) -> None:
    judged = evaluate_session(material.session.recording, (stated,))
    exposure_of_session(judged)
    frames_table(judged)


def marks(rng: random.Random, _: Path, __: Material) -> None:
    """Marks of a camera place as people click: single, doubled, in line, anywhere."""

    def point() -> list[float]:
        return [rng.choice((0, 300, rng.randrange(640))), rng.choice((0, 240, rng.randrange(480)))]

    same = point()
    clicked = lambda: rng.choice((same, point()))  # noqa: E731
    may_be: dict[str, Any] = {
        "head": clicked(),
        "head_end": clicked(),
        "foot_end": clicked(),
        "vertical": [{"ends": [clicked(), clicked()]}],
        "tape": [{"ends": [clicked(), clicked()], "length_m": rng.choice((0.01, 1, 10))}],
        "floor": [
            {
                "corners": [clicked() for _ in range(4)],
                "first_side_m": rng.choice((0.01, 0.6, 10)),
                "second_side_m": 0.6,
            }
        ],
        "chair_height_m": rng.choice((0.3, 0.8, 1.4)),
    }
    camera = {
        "focal_px": rng.choice((1, 300, 900, 1e6)),
        "height_m": rng.choice((0.05, 1.5, 9.9)),
        "pitch_deg": rng.choice((-89, -12, 0, 89)),
        "roll_deg": rng.choice((-180, 0, 3)),
    }
    solve_set_up(
        SMALL,
        Notes.model_validate(
            {
                "camera": {key: camera[key] for key in rng.sample(list(camera), rng.randrange(5))},
                "setup": {
                    key: may_be[key] for key in rng.sample(list(may_be), rng.randrange(1, 4))
                },
            }
        ),
    )


# --- pictures and clips ------------------------------------------------------------------

UNPROMISED = ("BMP", "GIF", "PPM", "ICO", "TGA", "PCX", "SGI", "EPS", "PDF", "JPEG2000", "MPO")


def pictures(rng: random.Random, folder: Path, material: Material) -> None:
    """A still that is damaged, something else, or of an odd kind."""
    suffix = rng.choice(tuple(material.pictures))
    path = folder / f"a.{rng.choice((suffix, suffix, suffix, 'jpg', 'heic'))}"
    match rng.randrange(10):
        case 0:
            path.write_bytes(_odd_picture(rng))
        case 1:
            path.write_bytes(rng.choice(TEXTS).encode(errors="replace") or b"\n")
        case 2:
            path.write_bytes(_declared(rng))
        case _:
            path.write_bytes(damaged(material.pictures[suffix], rng))
    source = StillSource(path)
    facts = source.facts
    (frame,) = source
    assert frame.picture.shape == (facts.height_px, facts.width_px, 3)
    assert frame.picture.dtype == np.uint8


def _odd_picture(rng: random.Random) -> bytes:
    size = rng.choice(((1, 1), (1, 3000), (2000, 3), (7, 5), (300, 200)))
    mode = rng.choice(("1", "L", "LA", "P", "RGB", "RGBA", "CMYK", "I;16", "F", "YCbCr", "LAB"))
    kind = rng.choice(("PNG", "TIFF", "WEBP", "JPEG", *UNPROMISED))
    file = BytesIO()
    exif = Image.Exif()
    exif[0x0112] = rng.choice((0, 1, 6, 9, 65535))
    try:
        Image.new("RGB", size, (9, 90, 200)).convert(mode if mode != "F" else "L").save(
            file, kind, exif=exif, save_all=rng.random() < 0.3
        )
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        Image.new("L", size).save(file, "PNG")
    return file.getvalue()


def _declared(rng: random.Random) -> bytes:
    """A whole PNG whose head is changed to another size, its checksum made to fit."""
    import struct
    import zlib

    file = BytesIO()
    Image.new("RGB", (60, 40), (9, 90, 200)).save(file, "PNG")
    whole = bytearray(file.getvalue())
    sizes = (0, 1, 41, 60, 65535, 10**6, 2**31 - 1, 2**32 - 1)
    whole[16:24] = struct.pack(">II", rng.choice(sizes), rng.choice(sizes))
    whole[24] = rng.choice((8, 16, 1, 255))
    whole[29:33] = struct.pack(">I", zlib.crc32(whole[12:29]))
    return bytes(whole)


PLAYLISTS = (
    "#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\nhttp://127.0.0.1:9/a.ts\n#EXT-X-ENDLIST\n",
    "ffconcat version 1.0\nfile '/dev/zero'\n",
    "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nm=video 9 RTP/AVP 96\n",
    "RIFF????AVI LIST",
)


def clips(rng: random.Random, folder: Path, material: Material) -> None:
    """A clip that is damaged, lies about its times, or only points elsewhere."""
    name = rng.choice(tuple(material.clips))
    whole = material.clips[name]
    path = folder / rng.choice((name, name, name, "x.mp4"))
    match rng.randrange(8):
        case 0:
            path.write_bytes(rng.choice(PLAYLISTS).encode())
        case 1:
            path.write_bytes(_with_odd_times(rng, folder))
        case 2:
            changed = bytearray(whole)
            box = rng.choice(
                (b"stts", b"ctts", b"mdhd", b"mvhd", b"elst", b"tkhd", b"stsz", b"avcC")
            )
            at = max(changed.find(box), 0) + 8
            for _ in range(rng.randrange(1, 4)):
                place = min(at + 4 * rng.randrange(12), len(changed) - 4)
                changed[place : place + 4] = rng.choice(
                    (
                        b"\xff\xff\xff\xff",
                        b"\x7f\xff\xff\xff",
                        bytes(4),
                        b"\0\0\0\x01",
                        b"\x80\0\0\0",
                    )
                )
            path.write_bytes(changed)
        case _:
            path.write_bytes(damaged(whole, rng))
    source = ClipSource(path, rate_hz=rng.choice((0.1, 5.0, 60.0)))
    facts = source.facts
    before_s = -1.0
    for number, frame in enumerate(source.starting_at(rng.choice((0.0, 0.0, 1.0, 1e6)))):
        assert frame.picture.shape == (facts.height_px, facts.width_px, 3)
        assert frame.time_s > before_s
        before_s = frame.time_s
        if number > MOST_PICTURES:
            break
    loudness(facts)


def _with_odd_times(rng: random.Random, folder: Path) -> bytes:
    gaps = (1, 40, 40, 40, 200, 5_000, 3_600_000, 10**9)
    path = folder / "odd.mkv"
    at, times = 0, []
    for _ in range(30):
        times.append(at)
        at += rng.choice(gaps)
    with av.open(str(path), "w") as out:
        stream = out.add_stream("mpeg4", rate=25)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        for at in times:
            frame = av.VideoFrame(64, 48, "yuv420p")
            frame.pts = at
            frame.time_base = stream.time_base = Fraction(1, 1000)
            with contextlib.suppress(av.error.FFmpegError, ValueError, TypeError, OverflowError):
                out.mux(stream.encode(frame))
        with contextlib.suppress(av.error.FFmpegError, ValueError):
            out.mux(stream.encode())
    whole = path.read_bytes()
    path.unlink()
    return whole or b"\0"


# --- names and places --------------------------------------------------------------------


def hostile_name(rng: random.Random) -> bytes:
    """Return a name that a file system may hold, mostly one that hurts."""
    match rng.randrange(5):
        case 0:
            name = rng.choice(TEXTS).encode(errors="surrogatepass")
        case 1:
            name = rng.randbytes(rng.randrange(1, 60))
        case 2:
            name = rng.choice((b"a", "ä".encode(), "🦷".encode())) * rng.choice((60, 125, 251, 300))
        case 3:
            name = rng.choice(
                (b" ", b".", b"a.", b"a ", b"..x", b"~", b"$HOME", b"*", b"a\tb", b"\\")
            )
        case _:
            name = "".join(rng.choice(string.printable) for _ in range(12)).encode()
    return name.replace(b"/", b"_").replace(b"\0", b"_")


def names(rng: random.Random, folder: Path, material: Material) -> None:
    """A file or folder that is called, or is, something odd; also beside proper ones."""
    stem = hostile_name(rng)[:251]
    base = os.fsencode(folder / "in")
    os.mkdir(base)
    path = base + b"/" + stem + rng.choice((b".png", b".mp4", b".toml", b""))
    place = Path(os.fsdecode(path))
    with contextlib.suppress(OSError):
        match rng.randrange(8):
            case 0:
                os.mkfifo(place)
            case 1:
                os.symlink(rng.choice(("/dev/zero", "gone", os.fsdecode(path), "/", ".")), place)
            case 2:
                place.mkdir()
            case _:
                place.write_bytes(material.pictures["png"])
    if rng.random() < 0.5:
        (folder / "in" / "whole.png").write_bytes(material.pictures["png"])
    given = [rng.choice((place, folder / "in"))]
    for source in find_sources(given).sources:
        read_notes(source.facts.path)
        list(source)
        source.facts.name.encode()


def outputs(rng: random.Random, folder: Path, _: Material) -> None:
    """A place for results that cannot be, or is somebody else's: nothing is left there."""
    here = folder / "here"
    here.mkdir()
    (here / "mine.txt").write_text("mine")
    (here / "sub").mkdir()
    (here / "sub" / "session.json").write_text("{}")
    os.mkfifo(here / "fifo")
    os.symlink("gone", here / "dangling")
    (folder / "theirs").mkdir()
    os.symlink(folder / "theirs", here / "linked")
    places = [".", "..", "here", "here/sub", "here/mine.txt", "here/mine.txt/x", "here/fifo",
              "here/fifo/x", "here/dangling", "here/linked", "here/linked/x", "here/new/deep/er",
              "here/sub/../sub", "here/sub/.", "here/sub/..", "/proc/x", "/dev/full/x"]  # fmt: skip
    fixed = ("", *places)  # outside the folder only where nothing can be made
    name = rng.choice((*fixed, *(f"here/{os.fsdecode(hostile_name(rng))}" for _ in range(8))))
    before = _listing(here)
    place = Path(name)  # seen from the folder of the case
    force = rng.random() < 0.5
    wrote = False
    try:
        if rng.random() < 0.5:
            check_free(place, replace=force)
            with being_made(place):
                write_folder(
                    place, lambda fresh: (fresh / "session.json").write_text("{}") and None
                )
            wrote = (place / "session.json").is_file()
        else:
            check_file_free(place, replace=force)
            with fresh_file(place) as fresh:
                fresh.write_text("x")
            wrote = place.is_file()
    finally:
        if not wrote:
            left = {path for path in _listing(here) - before if not path.endswith("/")}
            assert not left, f"left behind: {left}"
    assert wrote
    assert (here / "mine.txt").exists()


def _listing(folder: Path) -> set[str]:
    return {f"{path}{'/' * path.is_dir()}" for path in folder.rglob("*")}


# --- sessions, packs, libraries ----------------------------------------------------------


def sessions(rng: random.Random, folder: Path, material: Material) -> None:
    """A session folder with a damaged or forged file, judged and summed up if it is taken."""
    for path in material.session_folder.iterdir():
        if path.is_file():
            (folder / path.name).write_bytes(path.read_bytes())
    described = folder / "session.json"
    match rng.randrange(5):
        case 0:
            described.write_bytes(damaged(described.read_bytes(), rng))
        case 1:
            landmarks = folder / "landmarks.parquet"
            landmarks.write_bytes(damaged(landmarks.read_bytes(), rng))
        case 2:
            text = rng.choice(
                ("[]", "null", "1", '"x"', "{}", "[" * 5000, "9" * 5000, '{"schema":1}')
            )
            described.write_text(text)
        case _:
            forged = json.dumps(altered(material.description, rng))
            described.write_text(forged, encoding="utf-8", errors="surrogatepass")
    session = load_session(folder)
    exposure_of_session(session)
    frames_table(session)


def packs(rng: random.Random, folder: Path, material: Material) -> None:
    """A received zip: taken whole or not at all, and nothing is written elsewhere."""
    archive = folder / "pack.zip"
    archive.write_bytes(
        damaged(material.pack, rng)
        if rng.random() < 0.5
        else _forged_pack(material.pack, rng, folder)
    )
    with open_library(folder / "library") as library:
        before = _listing(folder)
        try:
            entry = library.import_pack(archive, rng.choice((None, None, *TEXTS[:12])))
        except BaseException:
            left = {path for path in _listing(folder) - before
                    if not path.endswith("/") and "library.sqlite" not in path}  # fmt: skip
            assert not left, f"left behind: {left}"
            raise
        inside = str(folder / "library")
        assert all(path.startswith(inside) for path in _listing(folder) - before)
        assert [each.name for each in library.entries()] == [entry.name]
        load_session(entry.folder)


HOSTILE_MEMBERS = (
    "../x",
    "session/../../x",
    "session/a\\..\\b",
    "x" * 300,
    "session/session.json",
    "session/" + "d/" * 200 + "x",
    "session/a\nb",
    "session/CON",
    "C:\\x",
    "session/\x1b[31m",
)


def _forged_pack(whole: bytes, rng: random.Random, folder: Path) -> bytes:
    file = BytesIO()
    with zipfile.ZipFile(BytesIO(whole)) as old, zipfile.ZipFile(file, "w") as new:
        for member in old.infolist():
            content = old.read(member)
            if member.filename.endswith(".json") and rng.random() < 0.6:
                changed = altered(json.loads(content), rng)
                content = json.dumps(changed).encode(errors="surrogatepass")
            if rng.random() < 0.1:
                continue
            new.writestr(member.filename, content)
        for _ in range(rng.randrange(3)):
            name = rng.choice((*HOSTILE_MEMBERS, str(folder / "outside")))
            info = zipfile.ZipInfo(name)
            if rng.random() < 0.3:
                info.external_attr = 0o120777 << 16  # a symbolic link
            with contextlib.suppress(ValueError, UserWarning):
                new.writestr(info, rng.choice((b"/etc/passwd", b"\0" * 10_000_000, b"x")),
                             zipfile.ZIP_DEFLATED)  # fmt: skip
    return file.getvalue()


HOSTILE_ADDRESSES = (
    "postgresql://h:port/x",
    "postgresql://[::1/x",
    "mysql://x",
    "x",
    "postgresql://u:p@127.0.0.1:1/x",
    "postgresql://127.0.0.1:99999/x",
    "\x1b[31m",
    "postgresql://\udcff",
)


def libraries(rng: random.Random, folder: Path, material: Material) -> None:
    """A library whose database or files are damaged, forged, or at an odd address."""
    with material.library_copy(folder) as place:
        url = None
        match rng.randrange(4):
            case 0:
                file = place / rng.choice(("library.sqlite", "library.id"))
                file.write_bytes(damaged(file.read_bytes(), rng))
            case 1:
                _forge_row(place / "library.sqlite", rng)
            case 2:
                url = rng.choice((*HOSTILE_ADDRESSES, f"sqlite:///{folder}/other.sqlite"))
            case _:
                for path in place.rglob("session.json"):
                    path.write_bytes(damaged(path.read_bytes(), rng))
        with open_library(place, url) as library:
            for entry in library.entries():
                entry.name.encode()
                with contextlib.suppress(Exception):
                    library.tag(entry.name, [rng.choice(TEXTS)])
                load_session(entry.folder)
                library.export(entry.name, folder / "out.zip")
                library.delete(entry.name)


def _forge_row(database: Path, rng: random.Random) -> None:
    with contextlib.closing(sqlite3.connect(database)) as connection:
        tables = [name for (name,) in connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table'")]  # fmt: skip
        table = rng.choice(tables)
        columns = [row[1] for row in connection.execute(f'PRAGMA table_info("{table}")')]
        value: Any = rng.choice((*TEXTS[:24], None, -1, 2**62, b"\xff\xfe", 1.5, "2026-02-30"))
        if isinstance(value, str):
            value = value.encode("utf-8", "surrogatepass")
            if rng.random() < 0.5:
                value = value.decode(errors="replace")
        with contextlib.suppress(sqlite3.Error):
            if isinstance(value, bytes) and rng.random() < 0.5:
                connection.execute(
                    f'UPDATE "{table}" SET "{rng.choice(columns)}" = CAST(? AS TEXT)', (value,)
                )
            else:
                connection.execute(f'UPDATE "{table}" SET "{rng.choice(columns)}" = ?', (value,))
            connection.commit()


def deletions(rng: random.Random, folder: Path, material: Material) -> None:
    """A session with a telling name and tag is deleted: not one byte of them stays."""
    mark = "".join(rng.choice(string.ascii_letters) for _ in range(16))
    with open_library(folder / "library") as library:
        entry = library.add(
            material.session_folder, f"n{mark}", tags=[f"t{mark}"], operator=f"o{mark}"
        )
        if rng.random() < 0.5:
            library.rename(entry.name, f"m{mark}")
        library.tag(library.entries()[0].name, ["other"], [f"t{mark}"])
        library.delete(library.entries()[0].name)
        library.delete_profile(f"o{mark}")
    for path in (folder / "library").rglob("*"):
        assert entry.id not in path.name
        if path.is_file():
            held = path.read_bytes()
            assert mark.encode() not in held, f"the name stays in {path.name}"
            assert entry.id.encode() not in held, f"the id stays in {path.name}"


# --- the page ----------------------------------------------------------------------------

ANSWERS_OF_OURS = (HTTPStatus.SERVICE_UNAVAILABLE, HTTPStatus.INSUFFICIENT_STORAGE)
FORMS: dict[str, dict[str, Any]] = {
    path: said["requestBody"]["content"]["application/json"]["schema"]
    for path, methods in description()["paths"].items()
    for said in methods.values()
    if isinstance(said, dict)
    and "application/json" in said.get("requestBody", {}).get("content", {})
}
"""Forms of the page by address."""


def page(rng: random.Random, _: Path, material: Material) -> None:
    """Any address, method, head and body: never a 500, and every refusal is one line."""
    client, session = material.page, material.page_session
    route, path, methods = _address(rng, session)
    method = rng.choice((*methods, *methods, "GET", "POST", "PUT", "DELETE", "PATCH", "OPTIONS"))
    body, kind = _body(rng, route)
    headers: dict[str, str | bytes] = {"content-type": kind}
    if rng.random() < 0.2:
        odd = rng.choice(("cookie", "accept-language", "range", "upload-offset", "content-type",
                          "if-none-match", "content-length", "x-forwarded-host"))  # fmt: skip
        headers[odd] = (
            rng.choice(TEXTS).encode(errors="replace").replace(b"\n", b"").replace(b"\0", b"")
        )
    if path.startswith(f"/api/sessions/{session}") and method == "DELETE":
        method = "GET"  # others still need the session
    with contextlib.suppress(*_not_sent()):
        answer = client.request(method, path, content=body, headers=headers, follow_redirects=False)
        assert answer.status_code < 500 or answer.status_code in ANSWERS_OF_OURS, (
            f"{answer.status_code} {method} {path[:100]!r} {body[:100]!r}: {answer.text[:200]}"
        )
        if (
            method != "HEAD"
            and answer.status_code >= 400
            and answer.headers.get("content-type") == "application/json"
        ):
            told = printable(answer.json()["error"])
            assert len(told) < 2000, told[:100]
        if answer.status_code >= 400:
            raise RefusedWell(f"{answer.status_code}")


def _not_sent() -> tuple[type[Exception], ...]:
    import httpx2

    return (httpx2.InvalidURL, httpx2.LocalProtocolError, UnicodeError)


def _address(rng: random.Random, session: str) -> tuple[str, str, tuple[str, ...]]:
    route = rng.choice([each for each in ROUTES if hasattr(each, "methods")])
    filled = []
    for part in route.path.split("/"):
        if part.startswith("{session}"):
            filled.append(session if rng.random() < 0.8 else _quoted(rng))
        elif "{" in part:
            usual = part.replace("{source:int}", "0").replace("{frame:int}", "3")
            usual = usual.replace("{number:int}", "0").replace("{name}", "report.pdf")
            filled.append(usual if "{" not in usual and rng.random() < 0.6 else _quoted(rng))
        else:
            filled.append(part)
    path = "/".join(filled)
    if rng.random() < 0.5:
        keys = ("width", "blur", "camera", "language", "before", "after", "tag", "key", "rate", "x")
        pairs = [f"{rng.choice(keys)}={_quoted(rng)}" for _ in range(rng.randrange(1, 4))]
        path += "?" + "&".join(pairs)
    return route.path, path, tuple(route.methods or ("GET",))


def _quoted(rng: random.Random) -> str:
    from urllib.parse import quote

    text = str(rng.choice((*TEXTS, *NUMBERS)))[:3000]
    return quote(text.encode(errors="surrogatepass"), safe="" if rng.random() < 0.8 else "/.")


def _body(rng: random.Random, route: str) -> tuple[bytes, str]:
    match rng.randrange(6):
        case 0:
            return rng.randbytes(rng.randrange(300)), rng.choice(("application/json", CHUNK_TYPE))
        case 1:
            return json.dumps(any_value(rng)).encode(errors="replace"), "application/json"
        case 2:
            return b"[" * rng.choice((100, 100_000)), "application/json"
        case _:
            usual = FORMS.get(route.replace(":int", ""))
            schema = usual if usual and rng.random() < 0.9 else rng.choice(list(FORMS.values()))
            form = _filled(rng, schema, schema.get("$defs", {}))
            if rng.random() < 0.4:
                form = altered(form, rng)
            if isinstance(form, dict) and "key" in form and rng.random() < 0.8:
                form |= {"key": rng.choice(list(WHOLE_NOTES))}
                wanted = WHOLE_NOTES[form["key"]]
                form["set"] = altered(wanted, rng) if isinstance(wanted, dict | list) else wanted
            return json.dumps(form).encode(errors="surrogatepass"), "application/json"


def _filled(rng: random.Random, schema: dict[str, Any], forms: dict[str, Any]) -> Any:
    """Return a value of about the form that is described."""
    if "$ref" in schema:
        return _filled(rng, forms[schema["$ref"].rsplit("/", 1)[1]], forms)
    if "anyOf" in schema:
        return _filled(rng, rng.choice(schema["anyOf"]), forms)
    if "enum" in schema:
        return rng.choice(schema["enum"])
    match schema.get("type"):
        case "object":
            inner = schema.get("properties", {})
            return {
                key: _filled(rng, each, forms) for key, each in inner.items() if rng.random() < 0.9
            }
        case "array":
            return [_filled(rng, schema.get("items", {}), forms) for _ in range(rng.randrange(3))]
        case "integer":
            return rng.choice((0, 1, 3, 10, -1, 2**40))
        case "number":
            return rng.choice((0.0, 1.5, -3.0, 1e9))
        case "string":
            return rng.choice(("a.mp4", "before", "left", "neutral", *TEXTS[:6]))
        case "boolean":
            return rng.random() < 0.5
        case _:
            return any_value(rng)


# --- the command line --------------------------------------------------------------------

EXIT_CODES = {0, 2, 3, 4}


def commands(rng: random.Random, folder: Path, material: Material) -> None:
    """A whole command in a process of its own, with hostile files, names and options."""
    odd = os.fsdecode(hostile_name(rng))
    name = rng.choice(tuple(material.clips))
    (folder / name).write_bytes(damaged(material.clips[name], rng))
    (folder / "a.png").write_bytes(damaged(material.pictures["png"], rng))
    (folder / "a.toml").write_bytes(hostile_toml(rng))
    shutil.copytree(material.session_folder, folder / "session")
    (folder / "session" / "session.json").write_text(
        json.dumps(altered(material.description, rng)), encoding="utf-8", errors="replace"
    )
    (folder / "pack.zip").write_bytes(_forged_pack(material.pack, rng, folder))
    shutil.copytree(material.library_folder, folder / "library")
    lines = (
        ("analyse", rng.choice((name, "a.png", odd, ".")), "--out", rng.choice(("out", odd, ""))),
        ("analyse", name, "a.png", "--together", "--out", "out"),
        ("analyse", name, "--out", "out", "--rate", odd, "--operator", odd),
        ("analyse", name, "--out", "out", "--reading", odd),
        ("setup", rng.choice((name, "a.png", odd))),
        ("rescore", rng.choice(("session", odd, "."))),
        ("sessions", "add", rng.choice(("session", odd)), "--name", odd, "--tag", odd),
        ("sessions", "import", rng.choice(("pack.zip", "a.png", odd))),
        ("sessions", "export", NAME, "--out", rng.choice((odd, "library", "", "x.zip"))),
        ("sessions", "rename", NAME, odd),
        ("sessions", "tag", NAME, odd, "--remove", odd),
        ("sessions", "delete", rng.choice((NAME, odd)), "--yes"),
        ("sessions", "list", "--tag", odd, "--json"),
        ("operators", "set", odd, "--stature", rng.choice(("nan", "1e400", "-1", odd))),
        ("compare", rng.choice((NAME, odd)), "session", "--out", rng.choice(("c", odd))),
        ("trend", "--operator", odd, "--out", "t"),
        (odd, odd),
    )
    done = subprocess.run(
        [sys.executable, "-m", "ergo", *(part.replace("\0", "") for part in rng.choice(lines))],
        cwd=folder,
        env={**os.environ, "ERGO_LIBRARY": str(folder / "library"), "PYTHONPATH": str(ROOT)},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=False,
    )
    told = done.stderr.decode(errors="replace")
    assert done.returncode in EXIT_CODES, f"{done.args[3:]}: {done.returncode} {told[-300:]!r}"
    assert "Traceback" not in told, told[-300:]
    shown = done.stdout.decode() + told
    assert all(printable(line) == line for line in shown.split("\n")), ascii(shown[-300:])
    if done.returncode in (2, 3):
        assert len(told.strip().splitlines()) <= (1 if done.returncode == 3 else 8), told[-600:]
        raise RefusedWell(f"{done.returncode}")


ATTACKS: dict[str, tuple[Attack, float]] = {
    "notes": (notes, 0.21),
    "meanings": (meanings, 0.04),
    "marks": (marks, 0.01),
    "pictures": (pictures, 0.18),
    "clips": (clips, 0.12),
    "names": (names, 0.08),
    "outputs": (outputs, 0.08),
    "sessions": (sessions, 0.07),
    "packs": (packs, 0.05),
    "libraries": (libraries, 0.03),
    "deletions": (deletions, 0.01),
    "page": (page, 0.115),
    "commands": (commands, 0.005),
}
"""Name to attack and its share of all cases."""
