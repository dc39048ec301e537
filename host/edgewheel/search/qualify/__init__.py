"""A release's crank and cam inputs, proved: a declared suite of tests, each against its limit."""
