"""Two themes of our own, a dark and a light one; Textual's are there beside them."""

from __future__ import annotations

from textual.theme import Theme

NIGHT = Theme(
    name="orchard-night",
    primary="#7fb8d8",
    secondary="#b7a6e0",
    accent="#e8c46a",
    warning="#e8a24a",
    error="#f0706a",
    success="#7fce8f",
    foreground="#dfe4e2",
    background="#12171a",
    surface="#181e22",
    panel="#20282d",
    dark=True,
)
DAY = Theme(
    name="orchard-day",
    primary="#1f5f85",
    secondary="#5a4796",
    accent="#8a5a00",
    warning="#9a5200",
    error="#a8201a",
    success="#1d6b35",
    foreground="#1c2326",
    background="#f4f5f1",
    surface="#ebede7",
    panel="#dfe3da",
    dark=False,
)
