"""Captures in: files of samples, edges or tooth periods become an edge table."""
