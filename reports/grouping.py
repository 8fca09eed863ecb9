"""Left-out builds by what they have in common."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence

from training.checking.coverage import thirds
from training.checking.left_out_builds import LeftOutBuild

FEWEST_FOR_THIRDS = 9
"""Below so many builds thirds would hold two or fewer."""

_KINDS: dict[str, Callable[[LeftOutBuild], str]] = {
    "form": lambda build: build.form,
    "wood": lambda build: build.main_wood or "no core",
    "stage": lambda build: build.stage.value,
}


def groups(builds: Sequence[LeftOutBuild]) -> Iterator[tuple[str, str, list[int]]]:
    """Yield by what builds are grouped, the group's name, and the places of its builds.

    Weight is the expected one: groups by what came would be of high and low readings.
    """
    for by, name_of in _KINDS.items():
        yield from ((by, *group) for group in _alike([name_of(build) for build in builds]))
    if len(builds) < FEWEST_FOR_THIRDS:
        return
    for by, third_names, values in (
        ("weight", ("light", "middle", "heavy"), [build.expected_lbf for build in builds]),
        ("time", ("early", "middle", "late"), [float(build.weighed_on.toordinal()) for build in builds]),
    ):
        in_third = thirds(values)
        for third, name in enumerate(third_names):
            yield by, name, [place for place, found in enumerate(in_third) if found == third]


def _alike(names: Sequence[str]) -> list[tuple[str, list[int]]]:
    places: dict[str, list[int]] = defaultdict(list)
    for place, name in enumerate(names):
        places[name].append(place)
    return list(places.items())
