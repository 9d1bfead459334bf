"""The solver: equations, elimination plan, Newton over lanes, continuation, derivatives."""
