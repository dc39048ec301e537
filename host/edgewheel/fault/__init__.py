"""What is wrong with the engine, the sensor or the loom, as exact edits of the tables."""
