"""How far the lines of one laser exceed a limit together: the worst group, from the last optic."""

from __future__ import annotations

from lasersafe.hazard.combine import Line, Member, group_of, summed_farthest
from lasersafe.hazard.exposure import Received, compare


def summed_distance(rule_set: str, tissue: str, lines: list[Line], duration: float) -> float:
    groups: dict[str, list[Member]] = {}
    for line in lines:
        own: dict[str, Member] = {}
        for one in compare(Received(rule_set, tissue, line.emission, line.wavelength, duration)):
            name = group_of(tissue, one.hazard, line.wavelength)
            own.setdefault(name, Member([], line.beam)).compared.append(one)
        for name, member in own.items():
            groups.setdefault(name, []).append(member)
    return max(float(summed_farthest(members, 1.0, 1)[0]) for members in groups.values())
