"""What came of the trips: tracks and catches, effort, rates."""
