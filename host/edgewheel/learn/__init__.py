"""From a capture back to the wheel, its speed, and what is wrong with it."""
