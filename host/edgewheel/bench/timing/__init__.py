"""The controller's outputs held against the true crank angle.

Signs, for everything in here: an advance is in crank degrees before top dead centre, positive
before it. An error is measured minus commanded advance: positive is too early, negative too late.
A delay is positive when the event comes late.
"""
