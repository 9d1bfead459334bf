"""Checks that need a program from outside and a person who looks: run by hand, described in DEVELOPERS.md."""
