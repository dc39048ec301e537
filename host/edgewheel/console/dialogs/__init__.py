"""What lies over a page: choices, numbers, help."""
