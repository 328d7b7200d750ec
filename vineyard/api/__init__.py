"""What every endpoint does alike; settings name these modules, nothing imports them."""
