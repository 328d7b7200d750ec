"""What a formula refuses."""

from __future__ import annotations


class OutOfRange(ValueError):
    """A number lies where the formula cannot take it."""

    def __init__(self, quantity: str, value: object, low: object, high: object) -> None:
        super().__init__(f"{quantity} is {value}; it must lie between {low} and {high}")
        self.quantity = quantity
        self.value = value
        self.low = low
        self.high = high
