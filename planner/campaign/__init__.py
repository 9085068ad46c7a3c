"""Carrying it out: batches, run order, calendar, draw-down of containers, calibration, records."""
