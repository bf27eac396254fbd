"""Whether the bytes of a still are as they were written, as far as its format lets tell.

PNG carries checksums. A JPEG's code words run out of step where bytes are changed or
lost, which decoders usually paper over. A WebP states its length. Parts of a TIFF that
are packed by zlib carry checksums. HEIC, and the rest of TIFF, is left to the decoder.
"""

import contextlib
import os
import threading
import zlib
from collections.abc import Iterator
from pathlib import Path

import simplejpeg
from PIL import Image

_DAMAGED_JPEG = ("Corrupt JPEG data", "Premature end", "Bogus", "Invalid")
_RIFF_HEAD = 8
_COMPRESSION, _PACKED_BY_ZLIB = 259, (8, 32946)
_PARTS_OF_TIFF = ((273, 279), (324, 325))
"""Tags that say where strips, and where tiles, begin and how long they are (TIFF 6.0)."""
_AT_ONCE_BYTES = 1 << 20
_ONE_AT_A_TIME = threading.Lock()


def check_whole(path: Path, kind: str) -> None:
    """Raise ValueError, or what Pillow raises, where a still's bytes are seen to be damaged.

    Parameters
    ----------
    path : Path
    kind : str
        Name of the format, as Pillow calls it.
    """
    check = _CHECKS.get(kind)
    if check is not None:
        check(path)


def _check_png(path: Path) -> None:
    """Compare every chunk with its checksum (ISO/IEC 15948, 5.3)."""
    with Image.open(path, formats=("PNG",)) as image:
        image.verify()


def _check_jpeg(path: Path) -> None:
    """Read all code words of a JPEG; the picture itself is made at an eighth of its size."""
    try:
        simplejpeg.decode_jpeg(
            path.read_bytes(), "GRAY", min_height=1, min_width=1, min_factor=8, strict=True
        )
    except ValueError as told:
        if str(told).startswith(_DAMAGED_JPEG):
            raise
        # else a kind of JPEG that this decoder does not know, but Pillow may


def _check_webp(path: Path) -> None:
    """Compare the length of a WebP with what its head states (RFC 9649, 2.4)."""
    with path.open("rb") as file:
        stated = int.from_bytes(file.read(_RIFF_HEAD)[4:], "little")
    if path.stat().st_size != _RIFF_HEAD + stated + stated % 2:
        raise ValueError("the file is longer or shorter than it states")


def _check_tiff(path: Path) -> None:
    """Compare every part packed by zlib with its checksum, which libtiff does not read."""
    with Image.open(path, formats=("TIFF",)) as image, path.open("rb") as file:
        tags = dict(getattr(image, "tag_v2", {}))
        if tags.get(_COMPRESSION) not in _PACKED_BY_ZLIB:
            return
        for begins, sizes in _PARTS_OF_TIFF:
            for begin, size in zip(tags.get(begins, ()), tags.get(sizes, ()), strict=True):
                file.seek(begin)
                _check_packed(file.read(size))


def _check_packed(part: bytes) -> None:
    unpacker = zlib.decompressobj()
    rest = part
    while rest and not unpacker.eof:
        unpacker.decompress(rest, _AT_ONCE_BYTES)
        rest = unpacker.unconsumed_tail
    if not unpacker.eof:
        raise ValueError("a part of the picture is cut off")


@contextlib.contextmanager
def silent_decoder(kind: str) -> Iterator[None]:
    """Keep a TIFF's decoder, which knows no other way to complain, from the user's terminal.

    Parameters
    ----------
    kind : str
        Name of the format, as Pillow calls it; others than TIFF are left alone.
    """
    if kind != "TIFF":
        yield
        return
    with _ONE_AT_A_TIME, open(os.devnull, "wb") as nowhere:
        before = os.dup(2)
        os.dup2(nowhere.fileno(), 2)
        try:
            yield
        finally:
            os.dup2(before, 2)
            os.close(before)


_CHECKS = {
    "PNG": _check_png,
    "JPEG": _check_jpeg,
    "MPO": _check_jpeg,
    "WEBP": _check_webp,
    "TIFF": _check_tiff,
}
