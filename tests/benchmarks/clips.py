"""A long clip made of a short one, without encoding anything again."""

from fractions import Fraction
from pathlib import Path

import av


def repeated_clip(short: Path, long: Path, length_s: float) -> Path:
    """Write ``short`` again and again into ``long`` until it lasts ``length_s``.

    Parameters
    ----------
    short, long : Path
    length_s : float
        Least length of the clip that is written. [s]
    """
    with av.open(str(short)) as first:
        source = first.streams.video[0]
        with av.open(str(long), "w") as target:
            stream = target.add_stream_from_template(source)
            offset = 0
            while offset * Fraction(source.time_base) < length_s:
                offset = _append(short, target, stream, offset)
    return long


def _append(short: Path, target: av.container.OutputContainer, stream: object, offset: int) -> int:
    """Mux all packets of ``short`` from ``offset`` on and return where the next copy begins."""
    end = offset
    with av.open(str(short)) as container:
        for packet in container.demux(container.streams.video[0]):
            if packet.pts is None:
                continue
            end = max(end, offset + packet.pts + packet.duration)
            packet.pts, packet.dts = packet.pts + offset, packet.dts + offset
            packet.stream = stream
            target.mux(packet)
    return end
