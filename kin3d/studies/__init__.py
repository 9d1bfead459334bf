"""Many solves put together into one labelled result."""
