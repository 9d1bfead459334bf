"""Forces in the members, load shares and wheel rates, from the same equations as the motion."""
