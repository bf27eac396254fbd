"""Stills of every kind become the same upright RGB picture."""

import os
import random
import struct
import zlib

import numpy as np
import pillow_heif
import pytest
from PIL import EpsImagePlugin, ExifTags, Image, ImageFile

from ergo.errors import UnreadablePicture
from ergo.frames.stills import StillSource

ORANGE = (200, 120, 40)


def scene(width=60, height=40) -> Image.Image:
    """Grey with an orange patch at the top right."""
    image = Image.new("RGB", (width, height), (90, 90, 90))
    image.paste(ORANGE, (width // 2, 0, width, height // 2))
    return image


def picture(path) -> np.ndarray:
    (frame,) = StillSource(path)
    assert (frame.time_s, frame.number) == (0.0, 0)
    assert frame.picture.dtype == np.uint8
    return frame.picture


@pytest.mark.parametrize("suffix", ["jpg", "jpeg", "png", "webp", "tif", "TIFF"])
def test_every_kind_of_file_is_read_as_rgb(tmp_path, suffix):
    scene().save(tmp_path / f"a.{suffix}")
    read = picture(tmp_path / f"a.{suffix}")
    assert read.shape == (40, 60, 3)
    np.testing.assert_allclose(read[10, 45], ORANGE, atol=12)
    np.testing.assert_allclose(read[30, 15], (90, 90, 90), atol=12)


def test_heic_is_read(tmp_path):
    pillow_heif.from_pillow(scene(128, 96)).save(tmp_path / "a.heic", quality=95)
    read = picture(tmp_path / "a.heic")
    assert read.shape == (96, 128, 3)
    np.testing.assert_allclose(read[20, 100], ORANGE, atol=12)


# EXIF 2.32, tag Orientation: where the row 0 and column 0 of the file are seen.
# The patch is stored at the top right.
@pytest.mark.parametrize(
    ("orientation", "corner", "is_turned"),
    [
        (1, (0, -1), False),
        (2, (0, 0), False),
        (3, (-1, 0), False),
        (4, (-1, -1), False),
        (5, (-1, 0), True),
        (6, (-1, -1), True),
        (7, (0, -1), True),
        (8, (0, 0), True),
    ],
)
@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_exif_orientation_turns_the_picture_upright(
    tmp_path, suffix, orientation, corner, is_turned
):
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    scene().save(tmp_path / f"a.{suffix}", exif=exif)
    read = picture(tmp_path / f"a.{suffix}")
    facts = StillSource(tmp_path / f"a.{suffix}").facts
    assert read.shape[:2] == ((60, 40) if is_turned else (40, 60))
    assert (facts.height_px, facts.width_px) == read.shape[:2]
    np.testing.assert_array_equal(read[corner], ORANGE)


@pytest.mark.parametrize("orientation", [1, 6])
def test_a_heic_is_turned_upright_once(tmp_path, orientation):
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    pillow_heif.register_heif_opener()
    scene(128, 96).save(tmp_path / "a.heic", quality=95, exif=exif.tobytes())
    read = picture(tmp_path / "a.heic")
    facts = StillSource(tmp_path / "a.heic").facts
    assert (facts.height_px, facts.width_px) == read.shape[:2]
    assert read.shape[:2] == ((96, 128) if orientation == 1 else (128, 96))
    orange_at = (20, 100) if orientation == 1 else (100, 80)
    np.testing.assert_allclose(read[orange_at], ORANGE, atol=12)


@pytest.mark.parametrize("suffix", ["jpg", "png", "webp"])
def test_a_damaged_exif_block_does_not_cost_the_picture(tmp_path, suffix):
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    broken = exif.tobytes().replace(b"MM\0*", b"MM\0?")
    scene().save(tmp_path / f"a.{suffix}", exif=broken)
    assert picture(tmp_path / f"a.{suffix}").shape == (40, 60, 3)
    assert StillSource(tmp_path / f"a.{suffix}").facts.focal_px is None


@pytest.mark.parametrize("mode", ["P", "RGBA", "CMYK", "YCbCr"])
def test_every_colour_mode_becomes_rgb(tmp_path, mode):
    suffix = "tif" if mode in ("CMYK", "YCbCr") else "png"
    image = scene().quantize(8) if mode == "P" else scene().convert(mode)
    image.save(tmp_path / f"a.{suffix}")
    np.testing.assert_allclose(picture(tmp_path / f"a.{suffix}")[10, 45], ORANGE, atol=6)


@pytest.mark.parametrize("mode", ["1", "L", "LA"])
def test_grey_pictures_become_rgb(tmp_path, mode):
    Image.new("L", (6, 4), 255).convert(mode).save(tmp_path / "a.png")
    np.testing.assert_array_equal(picture(tmp_path / "a.png"), np.full((4, 6, 3), 255))


def test_transparent_parts_become_white(tmp_path):
    Image.new("RGBA", (6, 4), (10, 20, 30, 0)).save(tmp_path / "a.png")
    np.testing.assert_array_equal(picture(tmp_path / "a.png"), np.full((4, 6, 3), 255))


def test_sixteen_bit_grey_keeps_its_brightness(tmp_path):
    grey = np.array([[0, 257 * 100, 65535]], dtype=np.uint16)
    Image.fromarray(grey).save(tmp_path / "a.png")
    np.testing.assert_array_equal(picture(tmp_path / "a.png")[0, :, 0], [0, 100, 255])


def png_chunk(kind: bytes, content: bytes) -> bytes:
    check = zlib.crc32(kind + content)
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", check)


def png(width: int, height: int, bits: int, colour: int, rows: bytes) -> bytes:
    """A PNG file by its specification (ISO/IEC 15948)."""
    header = struct.pack(">IIBBBBB", width, height, bits, colour, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + png_chunk(b"IHDR", header)
        + png_chunk(b"IDAT", zlib.compress(rows))
        + png_chunk(b"IEND", b"")
    )


def test_sixteen_bit_colour_keeps_its_brightness(tmp_path):
    row = b"\0" + struct.pack(">HHH", 257 * 200, 257 * 120, 257 * 40)
    (tmp_path / "a.png").write_bytes(png(1, 1, 16, 2, row))
    np.testing.assert_array_equal(picture(tmp_path / "a.png")[0, 0], ORANGE)


def test_a_picture_that_claims_too_many_pixels_is_refused(tmp_path):
    (tmp_path / "bomb.png").write_bytes(png(100_000, 100_000, 8, 2, b""))
    with pytest.raises(UnreadablePicture, match="bomb.png: has too many pixels"):
        picture(tmp_path / "bomb.png")


def test_a_large_picture_of_a_telephone_is_read(tmp_path):
    Image.new("L", (8_160, 6_120)).save(tmp_path / "a.jpg")
    facts = StillSource(tmp_path / "a.jpg").facts
    assert (facts.width_px, facts.height_px) == (8_160, 6_120)


@pytest.mark.parametrize(
    ("name", "size"),
    [("a.png", (6_001, 6_001)), ("a.tif", (6_001, 6_001)), ("a.jpg", (8_000, 7_501))],
)
def test_what_declares_too_many_pixels_is_refused_before_it_is_decoded(tmp_path, name, size):
    Image.new("L", size).save(tmp_path / name)
    cut = (tmp_path / name).read_bytes()[:4000]
    if name != "a.tif":  # keeps its table of contents at the end
        (tmp_path / name).write_bytes(cut)  # nothing of the picture is there to be decoded
    for read in (picture, lambda path: StillSource(path).facts):
        with pytest.raises(UnreadablePicture, match="has too many pixels; save it with at most"):
            read(tmp_path / name)


@pytest.mark.parametrize("size", [(1, 3000), (3000, 1), (20, 1001)])
def test_a_picture_too_narrow_to_show_anybody_is_refused(tmp_path, size):
    Image.new("RGB", size).save(tmp_path / "a.png")
    told = rf"a\.png: is {size[0]} x {size[1]} px, too narrow"
    with pytest.raises(UnreadablePicture, match=told):
        picture(tmp_path / "a.png")


def damaged(whole: bytes, rng: random.Random) -> bytes:
    """Bytes with some bits turned, a part emptied, lost or put in, or cut off."""
    changed, at, some = bytearray(whole), rng.randrange(len(whole)), rng.randrange(1, 400)
    match rng.randrange(5):
        case 0:
            for _ in range(rng.randrange(1, 20)):
                changed[rng.randrange(len(changed))] ^= 1 << rng.randrange(8)
        case 1:
            changed[at : at + some] = bytes(len(changed[at : at + some]))
        case 2:
            del changed[at : at + some]
        case 3:
            changed[at:at] = rng.randbytes(some)
        case _:
            del changed[at + 1 :]
    return bytes(changed)


def noisy() -> Image.Image:
    noise = np.random.default_rng(3).normal(0, 12, (150, 200, 3))
    return Image.fromarray(np.clip(np.asarray(scene(200, 150)) + noise, 0, 255).astype(np.uint8))


@pytest.mark.parametrize(
    ("suffix", "most_let_pass"), [("png", 0), ("jpg", 12), ("tif", 3)]
)  # a JPEG whose code words happen to stay in step cannot be told from a whole one
def test_a_damaged_still_is_refused_or_shows_what_it_showed(tmp_path, suffix, most_let_pass):
    path, rng = tmp_path / f"a.{suffix}", random.Random(7)
    noisy().save(path, **({"compression": "tiff_adobe_deflate"} if suffix == "tif" else {}))
    whole, bytes_ = picture(path).astype(float), path.read_bytes()
    let_pass = 0
    for _ in range(100):
        path.write_bytes(damaged(bytes_, rng))
        try:
            read = picture(path)
        except UnreadablePicture:
            continue
        let_pass += read.shape != whole.shape or bool(np.abs(read - whole).mean() > 0.5)
    assert let_pass <= most_let_pass


def test_a_webp_that_grew_is_refused(tmp_path):
    noisy().save(tmp_path / "a.webp")
    whole = (tmp_path / "a.webp").read_bytes()
    (tmp_path / "a.webp").write_bytes(whole[:2000] + b"put in" + whole[2000:])
    with pytest.raises(UnreadablePicture, match=r"a\.webp: cannot be decoded"):
        picture(tmp_path / "a.webp")


def test_the_decoder_of_a_damaged_tiff_keeps_silent(tmp_path, capfd):
    noisy().save(tmp_path / "a.tif", compression="tiff_adobe_deflate")
    whole = bytearray((tmp_path / "a.tif").read_bytes())
    whole[2000:2400] = bytes(400)
    (tmp_path / "a.tif").write_bytes(whole)
    with pytest.raises(UnreadablePicture):
        picture(tmp_path / "a.tif")
    assert capfd.readouterr() == ("", "")
    os.write(2, b"heard again")
    assert capfd.readouterr().err == "heard again"


@pytest.mark.parametrize("kind", ["BMP", "GIF", "PPM", "ICO", "TGA", "PCX", "SGI", "JPEG2000"])
def test_formats_that_are_not_promised_are_not_opened_under_another_name(tmp_path, kind):
    scene().save(tmp_path / "a.jpg", format=kind)
    for read in (picture, lambda path: StillSource(path).facts):
        with pytest.raises(UnreadablePicture, match=r"a\.jpg: cannot be decoded"):
            read(tmp_path / "a.jpg")


@pytest.mark.skipif(os.name == "nt", reason="the interpreter is a shell script here")
def test_no_interpreter_is_started_for_a_picture(tmp_path, monkeypatch):
    interpreter = tmp_path / "gs"
    interpreter.write_text(f"#!/bin/sh\ntouch {tmp_path}/was_started\n")
    interpreter.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path), prepend=os.pathsep)
    monkeypatch.setattr(EpsImagePlugin, "gs_binary", None)
    (tmp_path / "a.jpg").write_bytes(
        b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 60 40\n%%EndComments\n"
        b"0 0 60 40 rectfill showpage\n%%EOF\n"
    )
    with pytest.raises(UnreadablePicture, match=r"a\.jpg: cannot be decoded"):
        picture(tmp_path / "a.jpg")
    assert not (tmp_path / "was_started").exists()


TEXT, SHORT, FRACTION = 2, 3, 5  # types of EXIF (CIPA DC-008)


@pytest.mark.parametrize(
    ("kind", "count", "value"),
    [
        (FRACTION, 1, struct.pack(">II", 0, 0)),
        (FRACTION, 1, struct.pack(">II", 1, 0)),
        (TEXT, 5, b"left\0"),
        (SHORT, 3, struct.pack(">HHH", 3, 4, 5)),
    ],
)
def test_an_orientation_that_is_no_number_costs_nothing(tmp_path, kind, count, value):
    block = b"Exif\0\0MM\0*\0\0\0\x08\0\x01" + struct.pack(">HHI", 0x0112, kind, count)
    block += struct.pack(">I", 26) + bytes(4) + value
    scene().save(tmp_path / "a.jpg", exif=block)
    assert picture(tmp_path / "a.jpg").shape == (40, 60, 3)
    assert StillSource(tmp_path / "a.jpg").facts.width_px == 60


def with_film_focal(path, size, film_mm, orientation=1):
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.FocalLengthIn35mmFilm] = film_mm
    Image.new("RGB", size).save(path, exif=exif)
    return StillSource(path).facts.focal_px


@pytest.mark.parametrize("orientation", [1, 6])
def test_focal_length_comes_from_exif_by_the_diagonal_of_the_film(tmp_path, orientation):
    # 3:2 like the film itself: 36 mm are the whole width, so 36 mm focal length = 600 px
    assert with_film_focal(tmp_path / "a.jpg", (600, 400), 36, orientation) == pytest.approx(
        600, rel=1e-4
    )


@pytest.mark.parametrize("film_mm", [0, None])
def test_without_a_stated_focal_length_none_is_made_up(tmp_path, film_mm):
    if film_mm is None:
        scene().save(tmp_path / "a.jpg")
        assert StillSource(tmp_path / "a.jpg").facts.focal_px is None
    else:
        assert with_film_focal(tmp_path / "a.jpg", (600, 400), film_mm) is None


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif", "webp"])
def test_a_still_cut_off_half_way_is_refused(tmp_path, suffix):
    path = tmp_path / f"a.{suffix}"
    noise = np.random.default_rng(1).integers(0, 256, (80, 80, 3), dtype=np.uint8)
    Image.fromarray(noise).save(path)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    with pytest.raises(UnreadablePicture, match=f"a.{suffix}: cannot be decoded"):
        picture(path)


def test_a_heic_cut_off_half_way_is_refused(tmp_path):
    path = tmp_path / "a.heic"
    pillow_heif.from_pillow(scene(128, 96)).save(path, quality=95)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    with pytest.raises(UnreadablePicture, match=r"a\.heic: cannot be decoded"):
        picture(path)


def test_a_text_with_the_ending_of_a_picture_is_refused(tmp_path):
    (tmp_path / "a.jpg").write_text("Dear colleague")
    with pytest.raises(UnreadablePicture, match=r"a\.jpg: cannot be decoded"):
        picture(tmp_path / "a.jpg")


def test_a_still_that_vanishes_is_told_in_one_line(tmp_path):
    scene().save(tmp_path / "a.png")
    source = StillSource(tmp_path / "a.png")
    (tmp_path / "a.png").unlink()
    with pytest.raises(UnreadablePicture, match=r"a\.png: is no longer there"):
        list(source)


@pytest.mark.parametrize("name", ["a b.png", "Prüfung ß.png", "🦷.png"])
def test_any_name_works(tmp_path, name):
    scene().save(tmp_path / name)
    assert StillSource(tmp_path / name).facts.name == name


def test_a_library_that_lets_cut_files_pass_does_not_let_them_pass_here(tmp_path, monkeypatch):
    """The typesetting library sets this switch of Pillow for the whole program."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    whole = tmp_path / "whole.jpg"
    Image.effect_noise((300, 300), 60).convert("RGB").save(whole)
    cut = tmp_path / "cut.jpg"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    with pytest.raises(UnreadablePicture):
        list(StillSource(cut))
    assert ImageFile.LOAD_TRUNCATED_IMAGES


@pytest.mark.parametrize(("orientation", "size"), [(1, (300, 400)), (6, (400, 300))])
def test_a_large_jpeg_that_is_only_shown_is_decoded_smaller_and_upright(
    tmp_path, orientation, size
):
    image = Image.new("RGB", (3200, 2400), (200, 30, 30))
    image.paste((20, 40, 220), (0, 0, 1600, 2400))
    exif = Image.Exif()
    exif[0x0112] = orientation
    image.save(tmp_path / "large.jpg", exif=exif)
    picture = next(iter(StillSource(tmp_path / "large.jpg", least_px=400))).picture
    assert picture.shape[:2] == size
    blue, red = (
        (picture[:, 20], picture[:, -20]) if orientation == 1 else (picture[20], picture[-20])
    )
    assert np.all(blue[:, 2] > 180)
    assert np.all(red[:, 0] > 160)


def test_a_picture_is_never_made_smaller_than_it_is_wanted_nor_enlarged(tmp_path):
    Image.new("RGB", (1000, 500)).save(tmp_path / "a.jpg")
    for least, width in ((1200, 1000), (501, 1000), (500, 500), (100, 125)):
        picture = next(iter(StillSource(tmp_path / "a.jpg", least_px=least))).picture
        assert picture.shape[1] == width
