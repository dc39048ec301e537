"""The tables of firmware/PROTOCOL.md, so that tests run on what the page says."""

import re
from pathlib import Path

PAGE = Path(__file__).parents[1] / "firmware" / "PROTOCOL.md"


def table(name):
    """The rows of the table behind `<!-- table: name -->`, each a dict by column title."""
    found = re.search(rf"<!-- table: {name} -->\n((?:\|.*\n)+)", PAGE.read_text())
    assert found, f"PROTOCOL.md has no table {name}"
    head, _, *rows = [
        [cell.strip() for cell in line.strip().strip("|").split("|")]
        for line in found[1].splitlines()
    ]
    return [dict(zip(head, row, strict=True)) for row in rows]
