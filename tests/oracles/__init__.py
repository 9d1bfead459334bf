"""Independent references: code that solves the same problems another way. Nothing here imports kin3d."""
