"""The forms of a program's report: the same building blocks as a farm's, from its list of sections."""
