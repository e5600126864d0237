"""Time: deadlines, priority, a clock that is followed."""
