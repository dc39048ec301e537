"""The page of the bench itself: wheel, faults, controller, pulses, what the controller says."""
