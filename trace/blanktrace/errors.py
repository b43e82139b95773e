"""The ways a photograph can fail to support an outline.

Each leaf is also a ``ValueError``, so that a script which knows nothing of this
package still catches it. The message says what was found, what is needed and
what to do; the command prints it unchanged.
"""


class TraceError(ValueError):
    """A photograph, or a size given with it, cannot give a trustworthy outline."""


class LengthError(TraceError):
    """A length is not written in a way that has one meaning, or is out of range."""


class PhotoError(TraceError):
    """A file is not a photograph that can be read, or is too large."""


class NoBlankError(TraceError):
    """No blank stands out from the sheet."""


class CutOffError(TraceError):
    """The blank touches the edge of the photograph or of the sheet."""


class SeveralBlanksError(TraceError):
    """More than one blank is in view and nothing says which is meant."""


class NoDiscError(TraceError):
    """A disc was asked for and the blank has none."""


class ContrastError(TraceError):
    """Blank and sheet are too alike to tell apart."""


class BlurError(TraceError):
    """The photograph is too soft to measure."""


class ViewError(TraceError):
    """The camera's view cannot be undone: too much tilt, or sheet corners that do not fit."""


class OutlineFileError(TraceError):
    """A file that should hold a stored outline holds something else."""


class LensError(TraceError):
    """A lens file, or the photographs to make one from, cannot be used."""
