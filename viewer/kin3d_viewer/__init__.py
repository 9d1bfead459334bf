"""The viewer of kin3d: see a linkage move in 3D, drag a point, watch the curves follow.

Imports run down only: model and scene know neither VTK nor Qt, the pictures know VTK, the window knows both.
"""
