"""The page of recorded runs."""
