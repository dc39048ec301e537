"""Drawings of wheels as SVG text, readable in black and white."""
