"""Every error that carries a message for the user.

::

    ErgoError                 exit code 3
    ├── InputError            an array or argument has the wrong shape or value
    ├── NothingToAnalyse      no picture or clip was found where we looked
    ├── UnreadablePicture     a still cannot be decoded
    ├── UnreadableClip        a clip cannot be decoded at all
    ├── NotesError            a notes file is wrong (names file, key, allowed values)
    ├── SetUpError            the marks of a camera place do not fit together
    ├── NotTogether           recordings cannot be laid side by side as one session
    ├── SeveralOperators      recordings of one session are of different people
    ├── OutputError           the output folder cannot be used
    ├── SessionError          a stored session cannot be read
    ├── LibraryError          the library of sessions cannot be used as asked
    ├── EndedBySystem         the system ended a process of ours, most often for lack of memory
    ├── MissingLibrary        a system library or a bundled model is missing
    └── TooLittleSeen         exit code 4: finished, but too little was visible to judge

A frame without a visible person is data (NaN), not an error. Foreign exceptions
are turned into one of these where they arise, with ``from error``; ``cli`` and
``web`` catch :class:`ErgoError` once, at their edge.
"""


class ErgoError(Exception):
    """Base of all errors that carry a message for the user.

    Parameters
    ----------
    what : str
        What is wrong, as the rest of the sentence that begins with ``where``.
    where : str
        The file, key or argument concerned.
    remedy : str
        What the user can do next, as a sentence.
    """

    exit_code = 3

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        super().__init__(" ".join(part for part in (where, what, remedy) if part))
        self.what, self.where, self.remedy = what, where, remedy


class InputError(ErgoError):
    """An array or an argument has the wrong shape or an impossible value."""


class NothingToAnalyse(ErgoError):
    """No picture or clip was found where the user pointed."""


class UnreadablePicture(ErgoError):
    """A still cannot be decoded."""


class UnreadableClip(ErgoError):
    """A clip cannot be decoded at all."""


class NotesError(ErgoError):
    """A notes file has an unknown key or an impossible value."""


class SetUpError(ErgoError):
    """The marks of a camera place do not fit together or cannot be used."""


class NotTogether(ErgoError):
    """Recordings that are to be one session are no clips, or have nothing in common."""


class SeveralOperators(ErgoError):
    """Recordings that are to be one session are of different operators."""


class OutputError(ErgoError):
    """The output folder exists already, is not ours or cannot be written."""


class SessionError(ErgoError):
    """A stored session is missing, damaged or of a newer version."""


class LibraryError(ErgoError):
    """The library of sessions is newer, busy or full, or has no such session."""


class EndedBySystem(ErgoError):
    """The system ended a process of ours: memory ran out, or a file made a library crash."""


class MissingLibrary(ErgoError):
    """A system library or a bundled model is missing."""


class TooLittleSeen(ErgoError):
    """The analysis finished, but too little of the body was visible to judge."""

    exit_code = 4
