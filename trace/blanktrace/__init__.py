"""Turn one phone photo and one measured size into a true outline in millimetres."""

from blanktrace.errors import TraceError
from blanktrace.lengths import format_length, parse_length_mm
from blanktrace.lens import Lens
from blanktrace.lens_file import lens_text, read_lens
from blanktrace.outline import Outline
from blanktrace.outline_file import read_outline
from blanktrace.overlay import draw_check
from blanktrace.path import Path
from blanktrace.photo import read_photo
from blanktrace.pipeline import make_lens, trace_photo, trace_photos

__all__ = [
    "Lens",
    "Outline",
    "Path",
    "TraceError",
    "draw_check",
    "format_length",
    "lens_text",
    "make_lens",
    "parse_length_mm",
    "read_lens",
    "read_outline",
    "read_photo",
    "trace_photo",
    "trace_photos",
]
