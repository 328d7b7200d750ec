"""Files of vines, taken in line by line: good lines in, every doubtful value named, nothing lost."""
