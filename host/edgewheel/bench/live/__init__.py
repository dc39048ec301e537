"""A live run: the engine turns as it is told, and everything that it did is on record."""
