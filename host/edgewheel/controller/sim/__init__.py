"""The simulated controller: a unit under test of our own, with the limits that real ones have."""
