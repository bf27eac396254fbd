"""Build the model bundles of this folder from the two packages that carry the networks.

    python -m ergo.landmarks.models.build_bundles WHEEL NPM_PACKAGE

WHEEL is ``mediapipe`` 0.10.21 (cp311, manylinux x86_64) for the detector,
NPM_PACKAGE is ``@mediapipe/pose`` 0.5.1675469404 for the landmark networks, both
downloaded before with the registries' own clients. Each network gets the
TFLite metadata that the Tasks API wants (how to scale its input picture); the
two then lie uncompressed in one zip. The hashes of README.md are checked.
"""

import hashlib
import sys
import tarfile
import types
import zipfile
from pathlib import Path

DETECTOR_MEMBER = "mediapipe/modules/pose_detection/pose_detection.tflite"
SHA256 = {
    "detector": "9ba9dd3d42efaaba86b4ff0122b06f29c4122e756b329d89dca1e297fd8f866c",
    "full": "e9a5c5cb17f736fafd4c2ec1da3b3d331d6edbe8a0d32395855aeb2cdfd64b9f",
    "heavy": "59e42d71bcd44cbdbabc419f0ff76686595fd265419566bd4009ef703ea8e1fe",
}
FIXED_DATE = (2023, 2, 4, 0, 0, 0)  # the same bytes on every build


def checked(kind: str, network: bytes) -> bytes:
    """Return the network when its hash is the one of README.md, else stop."""
    found = hashlib.sha256(network).hexdigest()
    if found != SHA256[kind]:
        raise SystemExit(f"{kind}: sha256 is {found}, expected {SHA256[kind]}.")
    return network


def with_metadata(network: bytes, mean: float, std: float) -> bytes:
    """Return the network with TFLite metadata that states ``(value - mean) / std``.

    The writer of the Tasks API imports a compiled helper that the wheel lacks;
    it only asks it for the lowest parser version, so a stand-in answers.
    """
    _stand_in_for_parser_version()
    from mediapipe.tasks.python.metadata.metadata_writers import metadata_writer

    writer = metadata_writer.MetadataWriter.create(bytearray(network))
    writer.add_image_input([mean] * 3, [std] * 3)
    return bytes(writer.populate()[0])


def _stand_in_for_parser_version() -> None:
    parent = "mediapipe.tasks.cc"
    for name in (parent, f"{parent}.metadata", f"{parent}.metadata.python"):
        sys.modules.setdefault(name, types.ModuleType(name))
    helper = types.ModuleType(f"{parent}.metadata.python._pywrap_metadata_version")
    vars(helper)["GetMinimumMetadataParserVersion"] = lambda _: "1.0.0"
    sys.modules[helper.__name__] = helper
    vars(sys.modules[f"{parent}.metadata.python"])["_pywrap_metadata_version"] = helper


def write_bundle(path: Path, detector: bytes, landmarks: bytes) -> None:
    """Write the uncompressed zip that the Tasks API calls a task bundle."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as bundle:
        for name, network in (
            ("pose_detector.tflite", detector),
            ("pose_landmarks_detector.tflite", landmarks),
        ):
            bundle.writestr(zipfile.ZipInfo(name, FIXED_DATE), network)


def main(wheel: str, npm_package: str) -> None:
    """Build both bundles into the folder of this script."""
    with zipfile.ZipFile(wheel) as archive:
        detector = checked("detector", archive.read(DETECTOR_MEMBER))
    detector = with_metadata(detector, 127.5, 127.5)
    with tarfile.open(npm_package) as package:
        for kind in ("full", "heavy"):
            member = package.extractfile(f"package/pose_landmark_{kind}.tflite")
            if member is None:
                raise SystemExit(f"{npm_package}: holds no network {kind!r}.")
            network = with_metadata(checked(kind, member.read()), 0.0, 255.0)
            write_bundle(Path(__file__).parent / f"pose_landmarker_{kind}.task", detector, network)


if __name__ == "__main__":
    main(*sys.argv[1:3])
