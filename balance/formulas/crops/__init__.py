"""Whether crop and wood were in balance, and how the size of vines moves."""
