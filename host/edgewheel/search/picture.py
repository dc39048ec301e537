"""An envelope as a picture: characters for a terminal, SVG for a page."""

from __future__ import annotations

from html import escape

from edgewheel.search.axis import Axis
from edgewheel.search.border import Border, Square

WIDTH, HEIGHT = 64, 24
"""Characters of the map where nobody asks for less; a line then has at most 80."""

LABEL = 12
HOLDS, LOST = "#", "."

SIDE, MARGIN = 512, 72
"""Of the map in SVG, in its units."""


def as_text(border: Border, x: Axis, y: Axis, columns: int = 80, rows: int = 29) -> str:
    """The map, high values of `y` at the top, in so many characters or the least that it takes."""
    width, height = max(min(columns - LABEL - 4, WIDTH), 16), max(min(rows - 5, HEIGHT), 4)
    lines = [f"{y.address}"]
    for line in range(height):
        row = (height - line - 0.5) / height * border.size
        cells = (border.guess((n + 0.5) / width * border.size, row) for n in range(width))
        picture = "".join(HOLDS if cell >= 0.5 else LOST for cell in cells)
        lines.append(f"{_beside(line, height, y):>{LABEL}s} |{picture}")
    lines.append(" " * LABEL + " +" + "-" * width)
    low, middle, high = (f"{value:.5g}" for value in (x.low, (x.low + x.high) / 2, x.high))
    under = f"{low}{middle:^{max(width - len(low) - len(high), 0)}s}{high}"
    lines.append(" " * (LABEL + 2) + under)
    lines.append(f"{x.address:>{LABEL + 2 + width}s}")
    lines.append(f"{HOLDS} sync holds   {LOST} it does not")
    return "\n".join(lines)


def as_svg(border: Border, x: Axis, y: Axis, title: str) -> str:
    """The map as a drawing: squares by what is inside, every trial as a mark.

    Trials in sync are rings, the others crosses, so it is read without colour too.
    """
    scale = SIDE / border.size
    squares = "".join(_square(border, square, scale) for square in border.squares)
    marks = "".join(
        _mark(MARGIN + column * scale, MARGIN + SIDE - row * scale, inside)
        for (column, row), inside in border.known.items()
    )
    whole, end = SIDE + 2 * MARGIN, MARGIN + SIDE
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {whole} {whole}" '
        'font-family="sans-serif" font-size="14">'
        f"<title>{escape(title)}</title>"
        f'<rect width="{whole}" height="{whole}" fill="#fff"/>'
        f'<text x="{MARGIN}" y="28" font-size="16">{escape(title)}</text>'
        f'<text x="{MARGIN}" y="50">blue, rings: sync holds; orange, crosses: it does not</text>'
        f"{squares}{marks}"
        f'<rect x="{MARGIN}" y="{MARGIN}" width="{SIDE}" height="{SIDE}" fill="none" '
        'stroke="#222"/>'
        f'<text x="{MARGIN}" y="{end + 20}">{x.low:g}</text>'
        f'<text x="{end}" y="{end + 20}" text-anchor="end">{x.high:g}</text>'
        f'<text x="{MARGIN + SIDE // 2}" y="{end + 40}" text-anchor="middle">'
        f"{escape(x.address)}</text>"
        f'<text x="{MARGIN - 6}" y="{end}" text-anchor="end">{y.low:g}</text>'
        f'<text x="{MARGIN - 6}" y="{MARGIN + 12}" text-anchor="end">{y.high:g}</text>'
        f'<text transform="translate(24 {MARGIN + SIDE // 2}) rotate(-90)" '
        f'text-anchor="middle">{escape(y.address)}</text></svg>\n'
    )


def _beside(line: int, height: int, y: Axis) -> str:
    if line == 0:
        return f"{y.high:.5g}"
    if line == height // 2:
        return f"{(y.low + y.high) / 2:.5g}"
    return f"{y.low:.5g}" if line == height - 1 else ""


def _square(border: Border, square: Square, scale: float) -> str:
    inside = sum(map(border.value, square.corners())) / 4
    fill = "#9ecae1" if inside > 0.5 else "#fdd0a2" if inside < 0.5 else "#ddd"
    left, top = MARGIN + square.column * scale, MARGIN + SIDE - (square.row + square.side) * scale
    side = square.side * scale
    return f'<rect x="{left:g}" y="{top:g}" width="{side:g}" height="{side:g}" fill="{fill}"/>'


def _mark(x: float, y: float, inside: bool) -> str:
    if inside:
        return f'<circle cx="{x:g}" cy="{y:g}" r="2.5" fill="none" stroke="#08519c"/>'
    return f'<path d="M{x - 2:g} {y - 2:g}l4 4m0-4l-4 4" stroke="#a63603"/>'
