"""Reports: what a folder holds, for people (one HTML file), for CI (JUnit XML) and for programs."""
