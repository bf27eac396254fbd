"""Saved looks in place of networks, so that what follows from them can be tested alone."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ergo.arrays import PictureArray
from ergo.landmarks.network import Box, PoseEstimate, Refinement
from ergo.tracking.body import LYING_DEG, Body
from ergo.tracking.people_finder import with_hands


def numbered_picture(number: int, height_px: int = 48, width_px: int = 64) -> PictureArray:
    """Return a grey picture that carries a number in its first pixel."""
    picture = np.full((height_px, width_px, 3), 128, dtype=np.uint8)
    picture[0, 0] = (number // 65536 % 256, number // 256 % 256, number % 256)
    return picture


def number_of(picture: PictureArray) -> int:
    """Return the number that :func:`numbered_picture` put into a picture."""
    red, green, blue = (int(value) for value in picture[0, 0])
    return 65536 * red + 256 * green + blue


@dataclass(frozen=True, slots=True, eq=False)
class RecordedDetector:
    """Replays looks that were saved, one list of people per picture.

    Attributes
    ----------
    people : sequence of sequence of PoseEstimate
        Everybody in each picture, by the number the picture carries.
    """

    people: Sequence[Sequence[PoseEstimate]]

    def find(
        self,
        picture: PictureArray,
        enough: Callable[[Sequence[PoseEstimate]], bool] | None = None,
        known: Sequence[PoseEstimate] = (),
    ) -> list[PoseEstimate]:
        """Return everybody who was saved for this picture, with who lies at their hands."""
        people = self.people[number_of(picture)]
        return [with_hands(self.look, picture, person) for person in people]

    def look(
        self, picture: PictureArray, box: Box, refinement: Refinement = "once"
    ) -> PoseEstimate:
        """Return the saved person nearest the crop; far from the crop nobody is present.

        Only those who lie are seen by a look at who lies.
        """
        people = self.people[number_of(picture)]
        if refinement == "lying":
            people = [one for one in people if Body.of(one).lean_deg > LYING_DEG]
        nearest = min(people, key=lambda one: _apart(one, box), default=None)
        if nearest is None or _apart(nearest, box) > box.side_px / 2:
            nowhere = np.full((33, 3), np.nan)
            return PoseEstimate(nowhere, nowhere, np.zeros(33), 0.0, box)
        return nearest

    def close(self) -> None:
        """Do nothing: nothing was opened."""


def _apart(person: PoseEstimate, box: Box) -> float:
    """Return how far a person's own crop lies from another. [px]."""
    return float(np.hypot(person.next_box.x_px - box.x_px, person.next_box.y_px - box.y_px))
