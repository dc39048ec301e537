"""SVG text, written piece by piece: just what the drawings need."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from xml.sax.saxutils import escape, quoteattr

Point = tuple[float, float]


class Canvas:
    """Shapes in the order of painting; their classes take looks from a style sheet."""

    def __init__(self) -> None:
        self._parts: list[str] = []

    def path(self, data: str, looks: str) -> None:
        """A path of SVG path data."""
        self._parts.append(f'<path class="{looks}" d="{data}"/>')

    def polygon(self, points: list[Point], looks: str) -> None:
        """A closed shape."""
        self.path(f"M{'L'.join(f'{mm(x)} {mm(y)}' for x, y in points)}Z", looks)

    def line(self, start: Point, end: Point, looks: str) -> None:
        """A straight line."""
        self.path(f"M{mm(start[0])} {mm(start[1])}L{mm(end[0])} {mm(end[1])}", looks)

    def circle(self, centre: Point, radius: float, looks: str) -> None:
        """A circle."""
        x, y = centre
        self._parts.append(f'<circle class="{looks}" cx="{mm(x)}" cy="{mm(y)}" r="{mm(radius)}"/>')

    def box(self, corner: Point, width: float, height: float, looks: str) -> None:
        """A rectangle from its upper left corner."""
        x, y = corner
        size = f'width="{mm(width)}" height="{mm(height)}"'
        self._parts.append(f'<rect class="{looks}" x="{mm(x)}" y="{mm(y)}" {size}/>')

    def text(self, at: Point, words: str, looks: str) -> None:
        """One line of text, its baseline at a point."""
        x, y = at
        self._parts.append(f'<text class="{looks}" x="{mm(x)}" y="{mm(y)}">{escape(words)}</text>')

    @contextmanager
    def moved(self, x: float, y: float) -> Iterator[None]:
        """What is painted inside has its origin at x, y."""
        self._parts.append(f'<g transform="translate({mm(x)} {mm(y)})">')
        yield
        self._parts.append("</g>")

    def document(self, width: float, height: float, title: str, style: str) -> str:
        """The whole SVG file."""
        size = f'width="{mm(width)}" height="{mm(height)}" viewBox="0 0 {mm(width)} {mm(height)}"'
        head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img"'
        lines = [
            f"{head} aria-label={quoteattr(title)}>",
            f"<title>{escape(title)}</title>",
            f"<style>{style}</style>",
            f'<rect class="paper" width="{mm(width)}" height="{mm(height)}"/>',
            *self._parts,
            "</svg>",
        ]
        return "\n".join(lines) + "\n"


def mm(value: float) -> str:
    """A coordinate to a hundredth, as short as it can be written."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
