"""Points from photographs: marks set by hand become pickup points with their whole covariance.

`located.py` has the result `Located` and what makes it, `located_car.py` the points of one car with the sources of
their errors, `located_view.py` tables and picture; the others in the order in which they are used:

- `parameters.py`: the numbers that are looked for, what is known of each beforehand, what cars and pictures share.
- `camera.py`: where a place of the car falls in a picture, with derivatives.
- `lanes.py`: places of points and wheels of one side in one picture, with derivatives (`kin3d.solve.upright` moves it).
- `feet.py`: the foot of a mark on a projected leg or rim.
- `marked.py`: the marks of a car as arrays, places of what is marked, their derivatives.
- `model.py`: what every mark says of the parameters: residuals and Jacobian.
- `adjust.py`: damped Gauss-Newton with squares or robust losses; covariance, and the effect of every mark and figure.
- `start.py`: a start without help.
- `second_look.py`: other explanations of a fit in doubt, for starts that end in a wrong optimum.
- `snooping.py`: marks and figures that cannot be right; redundancy; the test of the whole.
- `refusal.py`: when no figures are given, and why.
- `other_car.py`: whether a photograph shows another car.
- `advice.py`: the mark, figure or photograph that would help a measure most (`hiding.py`: what the wheels hide).

Files are read by `kin3d.reading.photographs` into `kin3d.reading.photo_records.CarPhotos`.
"""
