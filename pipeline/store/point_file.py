"""What every kind of point file has: its points in chunks, a tally of them, the refusal of what cannot be read."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import Iterator, Protocol

from pipeline.errors import Refused
from pipeline.survey.points import Chunk
from pipeline.survey.reading.facts import Facts

CHUNK_POINTS = 1_000_000


@dataclass
class Tally:
    """What became of a file's points while its chunks were read.

    read          : points handed on
    ground        : of these, what the file itself classes as ground
    withheld      : left out because the file marks them withheld (LAS)
    empty         : left out because a coordinate is missing, or a raster's cell holds no height
    beyond_header : handed on although they lie outside the box that the header states
    mixed_colour  : handed on with a 16-bit colour in a file of 8-bit colours
    """

    read: int = 0
    ground: int = 0
    withheld: int = 0
    empty: int = 0
    beyond_header: int = 0
    mixed_colour: int = 0

    @property
    def ground_only(self) -> bool:
        """Whether the file says of every point that it is ground."""
        return 0 < self.read == self.ground

    def removed(self) -> dict[str, int]:
        """Points left out, by reason; reasons with none are left out."""
        return {reason: n for reason, n in (("withheld", self.withheld), ("empty", self.empty)) if n}

    def remarks(self, name: str) -> tuple[str, ...]:
        """Sentences about what was odd, for the operator."""
        out = []
        if self.beyond_header:
            out.append(f"{name}: {self.beyond_header:,} points lie outside the box its header states; they were read "
                       "all the same.")
        if self.mixed_colour:
            out.append(f"{name}: {self.mixed_colour:,} points have colours of another depth than the rest; colours may "
                       "be wrong.")
        return tuple(out)


class PointFile(Protocol):
    """One file of points. `tally` belongs to the newest `chunks`, and is whole when that has ended."""

    facts: Facts
    tally: Tally

    def chunks(self, want_rgb: bool = False, want_intensity: bool = False, size: int = CHUNK_POINTS) -> Iterator[Chunk]:
        """All points in the file's order, at most `size` at a time; colour and intensity where wanted and there.

        raises : Refused `unreadable` where the file breaks off, `no_points` where no point is left
        """
        ...


def unreadable(name: str, found: str, expected: str, todo: str) -> Refused:
    """The refusal of a file that cannot be read as what its name says."""
    return Refused("unreadable", f"{name}: found {found}; expected {expected}. {todo}")


# What decoders raise at broken bytes: exceptions of their own, and these.
BROKEN = (OSError, EOFError, ValueError, RuntimeError, OverflowError, IndexError, MemoryError)
DECODERS = ("laspy", "lazrs", "pyo3_runtime", "rasterio", "zlib", "struct", "_csv")


@contextmanager
def reading(name: str, done: Tally | None = None) -> Iterator[None]:
    """Turn what a decoder says about a broken file into a refusal. Its panic is no `Exception`, hence the wide net."""
    try:
        yield
    except BaseException as error:
        decoder = type(error).__module__.split(".")[0] in DECODERS
        if isinstance(error, (Refused, GeneratorExit)) or not (decoder or isinstance(error, BROKEN)):
            raise
        after = f" after {done.read:,} points" if done is not None and done.read else ""
        raise unreadable(name, f"a file that {_fault(error)}{after}", "a whole one", "Copy or export it again.") from error


# What decoders say of a file that ends too soon (of the LAS, LAZ, zip and text readers); all else is damage.
ENDS = ("fill whole buffer", "unexpected end", "end-of-stream marker", "end of file", "unpack requires", "buffer is smaller", "not a multiple of", "multiple of element size")


def _fault(error: BaseException) -> str:
    """What is wrong with a file, in words; what the decoder itself said stays with the exception."""
    said = str(error).lower()
    if isinstance(error, OSError) and error.strerror and error.errno:
        return f"cannot be read ({error.strerror.lower()})"
    if isinstance(error, UnicodeDecodeError):
        return "holds signs that are not UTF-8, or is damaged"
    if isinstance(error, MemoryError):
        return "asks for more memory than there is, or is damaged"
    return "breaks off" if isinstance(error, EOFError) or any(sign in said for sign in ENDS) else "is damaged"
