"""Stills: JPEG, PNG, WebP, TIFF and HEIC files as one upright RGB picture each."""

import contextlib
import math
import warnings
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path

import numpy as np
import pillow_heif
from PIL import ExifTags, Image, ImageFile

from ergo.arrays import PictureArray
from ergo.errors import ErgoError, UnreadablePicture
from ergo.frames.damage import check_whole, silent_decoder
from ergo.frames.file_checks import (
    MOST_PIXELS,
    MOST_PIXELS_OF_PHONES,
    check_declared,
    check_readable,
    sha256_of,
)
from ergo.frames.frame import Frame, SourceFacts

STILL_SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"})

_FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")
"""Nothing but these is opened, whatever the file is called; none of them starts a program."""
_OF_PHONES = frozenset({"JPEG", "MPO", "HEIF"})
"""MPO is what Pillow calls a JPEG that has more than one picture in it."""
FILM_DIAGONAL_MM = 43.267  # of a 36 mm x 24 mm frame of 35 mm film
_FULL_16_BIT = 65535
_UPRIGHT = {  # by EXIF orientation (CIPA DC-008)
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_LYING = (5, 6, 7, 8)  # width and height change places

pillow_heif.register_heif_opener()


@contextlib.contextmanager
def _cut_files_refused() -> Iterator[None]:
    """Let Pillow refuse files that are cut off; the typesetting library lets them pass."""
    before = ImageFile.LOAD_TRUNCATED_IMAGES
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        yield
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = before


class StillSource:
    """One still picture.

    Parameters
    ----------
    path : Path
    name : str, optional
        Name shown to people; the file's own where it is not given.
    least_px : int, optional
        For showing it only: a JPEG is decoded at a half, quarter or eighth of its
        size, as long as its longer side keeps this many px. [px]
    """

    def __init__(self, path: Path, name: str | None = None, least_px: int | None = None) -> None:
        self._path = path
        self._name = name or path.name
        self._least_px = least_px

    @cached_property
    def facts(self) -> SourceFacts:
        """What is known of the still without decoding it."""
        with self._opened() as image:
            width, height = image.size
            orientation, film_mm = _exif(image)
            if orientation in _LYING:
                width, height = height, width
        return SourceFacts(
            name=self._name,
            path=self._path,
            kind="still",
            width_px=width,
            height_px=height,
            duration_s=None,
            rate_hz=None,
            focal_px=film_mm and film_mm / FILM_DIAGONAL_MM * math.hypot(width, height),
            sha256=sha256_of(self._path, self._name, UnreadablePicture),
        )

    @property
    def damage(self) -> str | None:
        """None: a damaged still is an error."""
        return None

    def starting_at(self, start_s: float) -> "StillSource":
        """Return this still: it has one picture and no times."""
        return self

    def __iter__(self) -> Iterator[Frame]:
        """Read the picture."""
        yield Frame(picture=self._picture(), time_s=0.0, number=0)

    def _picture(self) -> PictureArray:
        """Return the picture; what decoding took is free again."""
        with self._opened() as image:
            if self._least_px is not None:
                share = self._least_px / max(image.size)
                image.draft("RGB", (round(share * image.width), round(share * image.height)))
            else:
                check_whole(self._path, str(image.format))
            with silent_decoder(str(image.format)):
                image.load()  # before EXIF: what is damaged must not be met there first
            orientation, _ = _exif(image)
            turn = _UPRIGHT.get(orientation)
            return _rgb(image if turn is None else image.transpose(turn))

    @contextlib.contextmanager
    def _opened(self) -> Iterator[Image.Image]:
        """Open the file; turn whatever goes wrong within into one clear line."""
        check_readable(self._path, self._name, UnreadablePicture)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # sizes below the limit, odd EXIF blocks
                with _cut_files_refused(), Image.open(self._path, formats=_FORMATS) as image:
                    self._check_size(image)
                    yield image
        except ErgoError:
            raise
        except (Image.DecompressionBombError, MemoryError) as cause:
            raise UnreadablePicture(
                "has too many pixels to be opened safely.",
                where=f"{self._name}:",
                remedy="Save it smaller.",
            ) from cause
        except Exception as cause:  # a decoder may raise anything at hostile bytes
            raise UnreadablePicture(
                "cannot be decoded; it is damaged, cut off or not a picture.",
                where=f"{self._name}:",
                remedy="Copy it again from the camera.",
            ) from cause

    def _check_size(self, image: Image.Image) -> None:
        most = MOST_PIXELS_OF_PHONES if image.format in _OF_PHONES else MOST_PIXELS
        check_declared(image.width, image.height, self._name, UnreadablePicture, most)


def _rgb(image: Image.Image) -> PictureArray:
    """Return any kind of picture as RGB; transparent parts become white."""
    if image.mode == "F":
        raise ValueError("a picture of real numbers has no known brightness")
    if image.mode.startswith("I"):  # 16-bit grey, whole range
        grey = np.clip(np.asarray(image).astype(np.float64) / _FULL_16_BIT, 0, 1) * 255
        return np.repeat(np.rint(grey).astype(np.uint8)[..., None], 3, axis=2)
    if image.has_transparency_data:
        layer = image if image.mode == "RGBA" else image.convert("RGBA")
        image = Image.new("RGB", layer.size, "white")
        image.paste(layer, mask=layer.getchannel("A"))
    return np.array(image if image.mode == "RGB" else image.convert("RGB"), dtype=np.uint8)


def _exif(image: Image.Image) -> tuple[int, float | None]:
    """Return orientation and focal length on 35 mm film [mm]; 1 and None if not stated.

    A damaged EXIF block states nothing. EXIF (CIPA DC-008, FocalLengthIn35mmFilm)
    does not say which side of the film is meant; CIPA DCG-001 compares diagonals,
    and so do we (its wording is from memory). For 3:2 pictures both readings
    agree, for 4:3 they differ by 4 %.
    """
    try:
        stated = image.getexif()
        orientation = int(stated.get(ExifTags.Base.Orientation, 1))
        lens = stated.get_ifd(ExifTags.IFD.Exif)
        film_mm = float(lens.get(ExifTags.Base.FocalLengthIn35mmFilm, 0))
    except Exception:  # what a damaged block makes of the numbers is anybody's guess
        return 1, None
    if image.format == "TIFF":  # Pillow turns these upright itself
        orientation = 1
    return orientation, film_mm if math.isfinite(film_mm) and film_mm > 0 else None
