"""Points, bodies, layouts and mobility: the mechanism as frozen data."""
