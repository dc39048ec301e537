"""The settings sheet: what an engineer types into a controller, with margins and proof."""
