"""The relay's face and the circuit's line, as plain text. Right of circuit and words, left of expect."""

from troubleshoot.draw.circuit_line import Part, Path, Row, Status, draw_path, find_paths
from troubleshoot.draw.relay_face import LAYOUTS, Layout, draw_face, draw_numbers
from troubleshoot.draw.strokes import ASCII, LINES, Strokes

__all__ = [
    "ASCII",
    "LAYOUTS",
    "LINES",
    "Layout",
    "Part",
    "Path",
    "Row",
    "Status",
    "Strokes",
    "draw_face",
    "draw_numbers",
    "draw_path",
    "find_paths",
]
