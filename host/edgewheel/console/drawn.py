"""Text that is drawn only when it has changed: painting is what costs, not working it out."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static


class Drawn(Static):
    """A text of a fixed size, given anew ten times a second."""

    def draw(self, content: Content) -> None:
        """Show it, if it is another than the last."""
        before = getattr(self, "_content_drawn", None)
        if before is None or not before.is_same(content):
            self._content_drawn = content
            self.update(content, layout=False)
