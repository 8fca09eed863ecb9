"""Heavy campaigns: a stated part runs among the slow tests, all of it where DRAWWEIGHT_CAMPAIGNS is `whole`."""

import os


def part_of(whole: int, part: int) -> int:
    """Return how many rounds of a campaign to run: the part, or the whole where that is asked for."""
    return whole if os.environ.get("DRAWWEIGHT_CAMPAIGNS") == "whole" else part
