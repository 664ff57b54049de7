"""The lake as data: doors, depth, level, quality, contours, bottom, hazards."""
