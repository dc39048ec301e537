"""From a folder to a report: one module for each kind of folder."""
