"""The page of searches: many runs, with progress and a picture that grows."""
