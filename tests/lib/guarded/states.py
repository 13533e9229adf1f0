from enum import StrEnum


class Colour(StrEnum):
    GREEN = "green"
    RED = "red"
