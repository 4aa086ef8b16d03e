"""Many ways for light as the columns of a table, so that any number of them is bounded in any boxes in one call."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lasersafe.scene import beams as geometry
from lasersafe.scene.beams import LEAST, NEAREST, BeamProfile, ScatterProfile, beam_from_here_on, beam_over, nearest
from lasersafe.scene.sources import ROW, STEEP, Source, Starts, beside_axes, pairs_of, squared_gaps, total
from lasersafe.scene.walls import Walls

FLOAT = NDArray[np.float64]
FLAGS = NDArray[np.bool_]
INDEX = NDArray[np.intp]
Light = tuple[Source, Walls]
_JUST = 1.01  # times the radius of an aperture: from here on the irradiance at its edge falls away from the axis
_ALL_PAIRS = 500_000  # of those at a time
_PAIRS = 200  # of boxes and where light starts that are looked at together, the nearest ones first
_ROWS = 8000  # of a table at a time


class Lights:
    """Ways for light with the walls that hold against each.

    Parameters
    ----------
    lights : sequence of (Source, Walls)
        The ways; in all methods each goes by its number.
    """

    def __init__(self, lights: Sequence[Light]) -> None:
        self.sources = [source for source, _ in lights]
        self.profiles = [source.profile for source in self.sources]
        rows = np.array([source.row for source in self.sources], dtype=ROW)
        self.column: dict[str, FLOAT] = {name: np.ascontiguousarray(rows[name]) for name in ROW.names or ()}
        for name, shape in (("sin", np.sin), ("cos", np.cos)):
            self.column |= {f"{name} {of}": shape(self.column[of][:, :4]) for of in ("angles", "aims")}
        # how many times as long as the axis a ray at the edge of an even beam is; 1 of others
        edge = np.where(self.column["even"] > 0.0, self.column["divergence"].max(axis=1, initial=0.0), 0.0)
        self.column["slant"] = np.hypot(1.0, edge / 2.0)
        beams = {number: one for number, one in enumerate(self.profiles) if isinstance(one, BeamProfile)}
        self.beam = np.zeros(len(lights), dtype=bool)
        self.beam[list(beams)] = True
        most = max((len(one.strengths) for one in beams.values()), default=1)
        self.column["strength"], self.column["hole"] = np.zeros((len(lights), most)), np.ones((len(lights), most))
        for number, profile in beams.items():
            pairs = list(profile.strengths.items())
            self.column["hole"][number, : len(pairs)] = [hole for hole, _ in pairs]
            self.column["strength"][number, : len(pairs)] = [strength for _, strength in pairs]
        self.lights = lights

    @cached_property
    def _held(self) -> tuple[Walls, INDEX]:
        """The walls of all, and which of them count for each."""
        every = {id(walls): walls for _, walls in self.lights}
        several = list(dict.fromkeys(every.values()))
        known = {one: several.index(walls) for one, walls in every.items()}
        return Walls.joined(several), np.array([known[id(walls)] for _, walls in self.lights], dtype=np.intp)

    @cached_property
    def _starts(self) -> Starts:
        return Starts([source.starts_past(walls) for source, walls in self.lights])

    @cached_property
    def _gates(self) -> Starts:
        return Starts([(gate[:, :3], gate[:, 3:6]) for gate in self._gates_of])

    @cached_property
    def _gates_of(self) -> list[FLOAT]:
        return [np.array(source.gates, dtype=np.float64).reshape(-1, 9) for source in self.sources]

    @cached_property
    def _near(self) -> Starts:
        return Starts([source.near for source in self.sources])

    @cached_property
    def sure(self) -> FLAGS:
        """Which of them walls can stop: where a mirror that is off begins is not known."""
        return np.array(
            [len(walls) > 0 and (s.spots is not None or not s.bulge) for s, walls in self.lights], dtype=bool
        )

    @cached_property
    def _through_disc(self) -> FLAGS:
        """Which of them pass a disc that is known."""
        return np.isfinite(self.column["through_radius"])

    def __len__(self) -> int:
        """Return the number of ways."""
        return len(self.sources)

    def over(self, light: INDEX, middle: FLOAT, half: FLOAT, nearest: FLOAT | None = None) -> FLOAT:
        """Return at least the exposure over limit anywhere in boxes, whatever stands between [1]_.

        Distances to a set of straight ways change no faster than the place moves, so that the middle of a box and half
        of its diagonal say how near to the light it can come.

        Parameters
        ----------
        light : numpy.ndarray of int, shape (rows,)
            Which light is asked for.
        middle, half : numpy.ndarray, shape (rows, 3)
            Middles and half edges of the boxes. [m]
        nearest : numpy.ndarray, shape (rows,), optional
            Light that starts nearer than this is stopped. [m]

        Returns
        -------
        numpy.ndarray, shape (rows,)
            0 where no light comes. [1]

        References
        ----------
        .. [1] docs/method.md, section 16.
        """
        column, found = self.column, np.zeros(len(light))
        size = np.sqrt(np.einsum("ij,ij->i", half, half))
        normal = column["normal"].take(light, 0)
        off = middle - column["on"].take(light, 0)
        deep = np.einsum("ij,ij->i", half, np.abs(normal))
        level = np.einsum("ij,ij->i", off, normal) + deep
        front = level >= 0.0
        if (bulge := column["bulge"].take(light, 0)).any():
            behind = bulge * (np.sqrt(np.einsum("ij,ij->i", off, off)) + size) + column["spot"].take(light, 0)
            front = level >= np.where(bulge > 0.0, -behind, 0.0)
        at = (front & self._through_disc.take(light)).nonzero()[0]
        if at.size:
            front[at] &= self._through(light[at], middle[at], size[at])
        aimed = column["aimed"].take(light, 0) > 0.0
        at = (front & aimed).nonzero()[0]
        if at.size:
            found[at] = self._aimed(light[at], middle.take(at, 0), half.take(at, 0))
        at = (front & ~aimed).nonzero()[0]
        if at.size:
            own, boxes = light[at], (middle.take(at, 0), half.take(at, 0))
            near = self._near.nearest(own, *boxes)[0] if nearest is None else nearest[at]
            away = self._path(own, *boxes, self._away(own, boxes[0], size[at], near))
            some = self.beam[own]
            rows = at[some]
            far = self._longest(light[rows], middle[rows], size[rows])
            found[rows] = beam_from_here_on(column, self.profiles, light[rows], away[some], far)
            rows = at[~some]
            if rows.size:
                found[rows] = self._scattered(light[rows], away[~some], level[rows], deep[rows], size[rows])
        return np.asarray(found * column["factor"].take(light, 0))

    def _through(self, light: INDEX, middle: FLOAT, size: FLOAT) -> FLAGS:
        """Return which boxes lie behind the disc that all of a light passes."""
        column = self.column
        centre, apex, wide = (column[name].take(light, 0) for name in ("through", "apex", "through_radius"))
        near = np.maximum(size + column["blur"].take(light, 0), column["tails"][light, 0])
        way = middle - apex
        part = np.einsum("ij,ij->i", centre - apex, way) / np.maximum(np.einsum("ij,ij->i", way, way), 1e-300)
        off = np.sqrt(np.square(apex + np.clip(part, 0.0, 1.0)[:, None] * way - centre).sum(axis=1))
        place, around = self._in_disc(light, middle, size)
        beside = np.sqrt(np.square(place - centre).sum(axis=1))
        return np.asarray((off <= wide + near) & ~(beside > wide + around))

    def _in_disc(self, light: INDEX, middle: FLOAT, size: FLOAT) -> tuple[FLOAT, FLOAT]:
        """Return about which place of the plane of its disc all of a light passes to a box, and how near to it. [m].

        Each ray goes from a ball round the apex to a ball round the box, so that it passes the plane within the larger
        of both radii of the line between the middles: no farther from where the line passes than that radius over the
        cosine between line and normal. Infinite where the plane is not known, or the line is along it.
        """
        column = self.column
        apex, normal = column["apex"].take(light, 0), column["through_normal"].take(light, 0)
        way = middle - apex
        slope = np.einsum("ij,ij->i", way, normal)
        near = np.maximum(size + column["blur"].take(light, 0), column["tails"][light, 0])
        with np.errstate(divide="ignore", invalid="ignore"):
            part = np.einsum("ij,ij->i", column["through"].take(light, 0) - apex, normal) / slope
            around = near * np.sqrt(np.einsum("ij,ij->i", way, way)) / np.abs(slope)
        known = np.isfinite(part)
        return apex + np.where(known, part, 0.0)[:, None] * way, np.where(known, around, np.inf)

    def _axial(self, light: INDEX, offset: FLOAT, of: str = "angles") -> FLOAT:
        """Return how far along the nearest direction of each light its place lies; see `axial`. [m]."""
        sine, cosine = (self.column[f"{name} {of}"].take(light, 0).T for name in ("sin", "cos"))
        return geometry.axial_of_each(sine, cosine, self.column[of][light, 4], offset.T)

    def _away(self, light: INDEX, middle: FLOAT, size: FLOAT, nearest: FLOAT) -> FLOAT:
        """Return how far boxes are from where light starts, from lit spots that are known one by one at least. [m]."""
        return np.asarray(np.maximum(nearest, self._from_spots(light, middle) - size))

    def _path(self, light: INDEX, middle: FLOAT, half: FLOAT, away: FLOAT) -> FLOAT:
        """Return the shortest path to boxes that are so far [m] from where beams in any direction start. [m]."""
        column, box = self.column, self.column["origin"].take(light, 0)
        between = np.maximum(np.abs(middle - box[:, 0]) - half - box[:, 1], 0.0)
        straight = np.sqrt(np.einsum("ij,ij->i", between, between))  # NaN where it is not known
        # the rays of an even beam that are not on its axis have to go farther to be as wide
        return np.asarray(np.fmax(away + column["offset"].take(light, 0), straight) / column["slant"].take(light))

    def _longest(self, light: INDEX, middle: FLOAT, size: FLOAT) -> FLOAT:
        """Return the longest path to boxes from where beams in any direction start. [m]."""
        far = np.sqrt(np.square(middle - self.column["apex"].take(light, 0)).sum(axis=1)) + size
        offset, spot, slack = (self.column[name].take(light, 0) for name in ("offset", "spot", "slack"))
        return np.asarray(far + offset + spot + slack)

    def _along(self, light: INDEX, middle: FLOAT, half: FLOAT) -> tuple[FLOAT, FLOAT, FLOAT]:
        """Return from where to where on their path beams in certain directions count in boxes, and how far beside."""
        column = self.column
        moves, offset = column["moves"].take(light, 0), column["offset"].take(light, 0)
        wide = half + moves
        size = np.sqrt(np.einsum("ij,ij->i", wide, wide))
        way = middle - column["apex"].take(light, 0)
        axial = self._axial(light, way)
        aside = np.sqrt(np.maximum(np.einsum("ij,ij->i", way, way) - axial * axial, 0.0))
        between = np.maximum(np.abs(way) - wide, 0.0)
        gap2 = np.einsum("ij,ij->i", between, between)
        low = np.maximum(axial - size, np.sqrt(np.maximum(gap2 - np.square(aside + size), 0.0)))
        flat = column["flat"].take(light, 0) > 0.0
        near = flat & (low + offset < column["close_by"].take(light, 0))
        # farther from the axis a round beam is weaker, the nearer place counted in
        off_axis = beside_axes(column["angles"].take(light, 0), way, wide, aside)
        off = np.maximum(off_axis, _JUST * column["radius"].take(light, 0))
        closer = np.maximum(low, np.sqrt(np.maximum(gap2 - off * off, 0.0)))
        low = np.where(flat, np.where(column["round"].take(light, 0) > 0.0, closer, low), np.maximum(low, 0.0))
        at = self._through_disc.take(light).nonzero()[0]
        if at.size:  # behind a mirror the light starts on its disc as well
            more = self._beside_disc(light[at], middle[at], half[at])
            at, more = at[more > off_axis[at]], more[more > off_axis[at]]
            off_axis[at], low[at] = more, np.minimum(low[at], np.sqrt(np.maximum(gap2[at] - more * more, 0.0)))
        return np.where(near, 0.0, low + offset), axial + size + offset, off_axis

    def _beside_disc(self, light: INDEX, middle: FLOAT, half: FLOAT) -> FLOAT:
        """Return how far beside the axis boxes are at least because all light comes through a disc. [m].

        A ray that passes a place P of a disc of middle C and radius r goes on to X. From P the axis u is no farther
        than the tail t of the beam there, so that X is within r + t + (its way from the axis) of the line C + s u:
        wherever the head is, X lies as far beside the axis as beside that line, less r + t. X is not before P, so that
        (X - C) u is -r at least, and of directions that point away from X the line is |X - C| - r away.
        """
        column = self.column
        way, wide = middle - column["through"].take(light, 0), column["through_radius"].take(light, 0)
        axial = self._axial(light, np.einsum("ijk,ik->ij", column["back"].take(light, 0), way), "aims")
        square = np.einsum("ij,ij->i", way, way)
        aside = np.minimum(np.sqrt(np.maximum(square - axial * axial, 0.0)), np.sqrt(square) - wide)
        return np.asarray(aside - wide - column["tails"][light, 1] - np.sqrt(np.einsum("ij,ij->i", half, half)))

    def _aimed(self, light: INDEX, middle: FLOAT, half: FLOAT) -> FLOAT:
        """Return the bound of beams in certain directions; see `over`."""
        column, found = self.column, np.zeros(len(light))
        near, far, aside = self._along(light, middle, half)
        flat, lit = column["flat"].take(light, 0) > 0.0, far > column["offset"].take(light, 0)
        at = (flat & lit).nonzero()[0]
        if at.size:
            # the rim of an even beam that is turned to a place comes there nearer along its axis
            own = light[at]
            found[at] = beam_over(column, own, near[at], far[at], aside[at]) * np.square(column["slant"].take(own))
        at = (~flat & lit).nonzero()[0]
        if at.size:
            found[at] = beam_from_here_on(column, self.profiles, light[at], near[at], far[at])
        at = (column["passed"][light, 3] > 0.0).nonzero()[0]
        if at.size:
            found[at] = np.minimum(found[at], self._passed(light[at], middle[at], half[at]))
        return found

    def _passed(self, light: INDEX, middle: FLOAT, half: FLOAT) -> FLOAT:
        """Return the bound of beams behind the disc that all of them pass, where the disc is smaller than they are."""
        column = self.column
        there, spread, whole, wide = column["passed"].take(light, 0).T
        away = np.sqrt(np.square(middle - column["through"][light]).sum(axis=1)) - wide - column["radius"][light]
        away = (away - np.sqrt(np.einsum("ij,ij->i", half, half))) * math.cos(STEEP)
        square = np.square(np.maximum(away, NEAREST))
        return np.asarray(np.minimum(there * -np.expm1(-spread / square), whole / square))

    def _from_spots(self, light: INDEX, place: FLOAT) -> FLOAT:
        """Return how far places are from the nearest lit spot of each light, 0 where only boxes are known. [m]."""
        column = self.column
        off = place - column["apex"].take(light, 0)
        kind, wide = column["spots"].take(light), column["spot"].take(light)
        square = np.einsum("ij,ij->i", off, off)
        far = np.sqrt(square)
        found = np.where(kind == 0.0, 0.0, np.where(kind == 1.0, far, np.maximum(far - wide, 0.0)))
        at = (kind == 3.0).nonzero()[0]
        if at.size:
            above = np.einsum("ij,ij->i", off[at], column["normal"].take(light[at], 0))
            aside = np.sqrt(np.maximum(square[at] - above * above, 0.0))
            found[at] = np.hypot(above, np.maximum(aside - wide[at], 0.0))
        at = (kind == 4.0).nonzero()[0]
        if at.size:
            beside = np.maximum(far[at] - self._axial(light[at], off[at]), 0.0)
            found[at] = np.sqrt((far[at] - wide[at]) ** 2 + 2.0 * wide[at] * beside)
        return np.asarray(np.maximum(found - column["slack"].take(light, 0), 0.0))

    def _scattered(self, light: INDEX, away: FLOAT, level: FLOAT, deep: FLOAT, size: FLOAT) -> FLOAT:
        """Return the bound of lit spots of reflectance 1, so far before their plane at most; see `over`."""
        column = self.column
        away = np.maximum(away, column["nearest"].take(light, 0))
        found = column["at_one"].take(light, 0) / np.square(away)
        lambert, wide = column["lambert"].take(light, 0) > 0.0, column["wide"].take(light, 0) > 0.0
        for number in sorted(set(light[wide].tolist())) if wide.any() else ():
            rows, profile = light == number, self.profiles[number]
            assert isinstance(profile, ScatterProfile)
            found[rows] = profile.ratio(away[rows])
        plane = column["plane"].take(light, 0) > 0.0
        cosine = np.minimum(np.maximum(level / away, 0.0), 1.0)
        found = np.where(plane & lambert, found * cosine, found)
        if wide.any():
            known = (column["spot"].take(light, 0) <= 0.0) | lambert  # else another spot may be seen more aslant
            least = np.clip((level - 2.0 * deep) / (away + 2.0 * size), 0.0, 1.0) * known
            found = np.where(plane & wide, found * 2.0 / (1.0 + np.minimum(least, cosine)), found)
        return np.asarray(np.minimum(found, column["brightest"].take(light, 0)))

    def likely(self, light: INDEX, middle: FLOAT, half: FLOAT) -> FLOAT:
        """Return a place of each box, of shape (rows, 3), where much light can be expected: on the axis of a beam."""
        column, found = self.column, np.empty((len(light), 3))
        aimed = column["aimed"].take(light, 0) > 0.0
        at = (~aimed).nonzero()[0]
        if at.size:
            found[at] = self._starts.every[0][self._starts.nearest(light[at], middle[at], half[at])[1]]
        at = aimed.nonzero()[0]
        if at.size:
            own, offset, size = light[at], middle[at] - column["apex"].take(light[at], 0), half[at]
            way = nearest(column["angles"].take(own, 0), offset)
            slow = np.where(np.abs(way) > 1e-12, way, 1e-12)
            both = [(offset + side * size) / slow for side in (-1.0, 1.0)]
            enter, leave = np.minimum(*both).max(axis=1), np.maximum(*both).min(axis=1)
            met, along = (enter <= leave) & (leave > 0.0), np.maximum((offset * way).sum(axis=1), 0.0)
            last = column["waist_position"].take(own, 0).max(axis=1) - column["offset"].take(own, 0)
            along = np.where(met, np.clip(last, np.maximum(enter, 0.0), np.maximum(leave, 0.0)), along)
            found[at] = column["apex"].take(own, 0) + way * along[:, None]
        return np.asarray(np.minimum(np.maximum(found, middle - half), middle + half))

    def most(
        self, light: INDEX, middle: FLOAT, half: FLOAT, beyond: FLOAT, asked: FLAGS, group: INDEX, enough: float = 0.0
    ) -> FLOAT:
        """Return at least the exposure over limit anywhere in boxes, of some lights for each.

        Parameters
        ----------
        light : numpy.ndarray of int, shape (boxes, n)
            The lights.
        middle, half : numpy.ndarray, shape (boxes, 3)
            Middles and half edges. [m]
        beyond : numpy.ndarray, shape (boxes,)
            Only what is farther than this from where the light starts counts. [m]
        asked : numpy.ndarray of bool, shape (boxes, n)
            What is asked for; all else is 0.
        group : numpy.ndarray of int, shape (boxes, n)
            Lights of one group, of which only the highest counts; -1 for none.
        enough : float
            Where the sum over the groups is no more without walls, they are not looked at.

        Returns
        -------
        numpy.ndarray, shape (boxes, n)
            0 where all of a light is stopped; as without walls where another of the same group gives more. [1]
        """
        found = np.zeros(light.shape)
        box, slot = asked.nonzero()
        own = light[box, slot]
        free = np.empty(len(own))
        for first in range(0, len(own), _ROWS):
            part = slice(first, first + _ROWS)
            free[part] = self.over(own[part], middle.take(box[part], 0), half.take(box[part], 0))
        if beyond.any():
            away = np.sqrt(np.square(np.abs(middle[box] - self.column["apex"].take(own, 0)) + half[box]).sum(axis=1))
            free = np.where((away > beyond[box]) | (beyond[box] <= 0.0), free, 0.0)
        sure = self.sure[own]
        free[sure & (free <= LEAST)] = 0.0
        found[box, slot] = free
        if not sure.any():
            return found
        walled = np.zeros(light.shape, dtype=bool)
        walled[box, slot] = sure
        number = group + (group.max(initial=0) + 1) * np.arange(len(light))[:, None]
        highest = np.full(int(number.max(initial=0)) + 1, LEAST)
        plain, seen = asked & ~walled, np.zeros(light.shape, dtype=bool)
        np.fmax.at(highest, number[plain], found[plain])
        order = np.argsort(-found, axis=1, kind="stable")
        rows = np.arange(len(light))[:, None]
        first = 0
        while first < light.shape[1]:
            some = order[:, first : first + (max(first, _PAIRS // len(light)) if first else 1)]
            first += some.shape[1]
            at = rows.repeat(some.shape[1], axis=1)
            value = found[at, some]
            want = walled[at, some] & (value > highest[number[at, some]])
            if enough:
                want &= (total(group, found) > enough)[:, None]
                if first > some.shape[1]:  # what comes past walls is enough already
                    want &= (total(group, np.where(plain | seen, found, 0.0)) <= enough)[:, None]
            at, some = at[want], some[want]
            if at.size:
                value = self._past(light[at, some], middle[at], half[at], found[at, some])
                found[at, some] = value
                np.fmax.at(highest, number[at, some], value)
                seen[at, some] = True
        return found

    def hidden(self, light: INDEX, middle: FLOAT, half: FLOAT) -> FLAGS:
        """Return which boxes no straight way reaches from a box round all places in which a light starts."""
        start, size = self._starts.hull
        stopped = self._stop(light, start[light], size[light], middle, half) | (self._starts.count[light] == 0)
        at = (~stopped & (self._gates.count[light] > 0)).nonzero()[0]
        if at.size:  # nor from any of the places of a mirror by way of which it comes
            (gate, wide, begin), (walls, behind) = self._gates.every, self._held
            of, by = pairs_of(self._gates.count[light[at]], begin[light[at]])
            place, around = self._in_disc(light[at], middle[at], np.sqrt(np.square(half[at]).sum(axis=1)))
            between = np.maximum(np.abs(place[of] - gate[by]) - wide[by], 0.0)
            some = (~(np.square(between).sum(axis=1) > np.square(around[of]))).nonzero()[0]
            of, by, row = of[some], by[some], at[of[some]]
            shut = walls.stop(
                gate[by], wide[by], middle[row], half[row], which=behind[light[row]],
                blur=self.column["blur"][light[row]], home=np.concatenate(self._gates_of)[by, 6:],
            )  # fmt: skip
            stopped[at] = np.bincount(of[~shut], minlength=at.size) == 0
        return np.asarray(stopped)

    def _stop(self, light: INDEX, start: FLOAT, size: FLOAT, middle: FLOAT, half: FLOAT) -> FLAGS:
        walls, behind = self._held
        blur, on, normal, home, face = (
            self.column[name].take(light, 0) for name in ("blur", "cut_on", "cut_normal", "home", "face")
        )
        which = behind.take(light)
        return walls.stop(start, size, middle, half, which=which, blur=blur, on=on, normal=normal, home=home, face=face)

    def _past(self, light: INDEX, middle: FLOAT, half: FLOAT, free: FLOAT) -> FLOAT:
        """Return what of lights comes past walls."""
        gap = self._clear(light, middle, half)
        open_ = np.isfinite(gap)
        found = np.where(open_, free, 0.0)
        far = (self._starts.count[light] > 1) & (self.column["aimed"].take(light, 0) <= 0.0)
        at = (open_ & far).nonzero()[0]
        if at.size:
            found[at] = np.minimum(free[at], self.over(light[at], middle[at], half[at], gap[at]))
        return found

    def shortest(self, light: INDEX, middle: FLOAT, half: FLOAT) -> FLOAT:
        """Return the shortest paths with which lights count in boxes, infinite where all is stopped [m].

        From the last optic of a beam, or the shortest way from a lit spot; shapes as of `over`.
        """
        column, found, aimed = self.column, np.empty(len(light)), self.column["aimed"].take(light, 0) > 0.0
        found[aimed] = self._along(light[aimed], middle[aimed], half[aimed])[0]
        at = (~aimed).nonzero()[0]
        own, boxes = light[at], (middle[at], half[at])
        gap, past = self._near.nearest(own, *boxes)[0], self.sure[own].nonzero()[0]
        gap[past] = self._clear(own[past], boxes[0][past], boxes[1][past])
        away = self._away(own, boxes[0], np.sqrt(np.einsum("ij,ij->i", boxes[1], boxes[1])), gap)
        scatter = np.maximum(away + column["offset"].take(own, 0), column["nearest"].take(own, 0))
        found[at] = np.where(self.beam[own], self._path(own, *boxes, away), scatter)
        return found

    def _clear(self, light: INDEX, middle: FLOAT, half: FLOAT) -> FLOAT:
        """Return how far boxes are from the nearest place where light starts past walls, or infinite. [m]."""
        found = np.full(len(light), np.inf)
        left = (~self.hidden(light, middle, half)).nonzero()[0]
        start, size, _ = self._starts.every
        found[left], nearest = self._starts.nearest(light[left], middle[left], half[left])
        several = self._starts.count[light[left]] > 1  # the way from the only one is free already
        left, nearest = left[several], nearest[several]
        shut = self._stop(light[left], start[nearest], size[nearest], middle[left], half[left])
        left, nearest = left[shut], nearest[shut]
        found[left] = np.inf
        most = np.cumsum(self._starts.count[light[left]]) // _ALL_PAIRS
        for rows in np.split(np.arange(len(left)), np.diff(most).nonzero()[0] + 1) if left.size else ():
            some = left[rows]
            of, at = self._starts.pairs(light[some], self._unstopped(light[some], middle[some], half[some]))
            other = at != nearest[rows][of]
            of, at = of[other], at[other]
            between = squared_gaps(middle[some[of]], half[some[of]], start[at, :, None], size[at, :, None])[:, 0]
            order = np.lexsort((between, of))
            at, gaps = at[order], np.sqrt(between[order])
            count = np.bincount(of, minlength=len(some))
            begin, open_ = np.cumsum(count) - count, count.nonzero()[0]
            first = 0
            while open_.size:
                slot = np.arange(first, first := first + max(_PAIRS // open_.size, 2 * first, 1))
                row, column = (slot < count[open_][:, None]).nonzero()
                pair = begin[open_[row]] + slot[column]
                one = some[open_[row]]
                shut = self._stop(light[one], start[at[pair]], size[at[pair]], middle[one], half[one])
                gap = np.full(len(open_), np.inf)
                np.minimum.at(gap, row, np.where(shut, np.inf, gaps[pair]))
                found[some[open_]] = gap
                open_ = open_[~np.isfinite(gap) & (count[open_] > first)]
        return found

    def _unstopped(self, light: INDEX, middle: FLOAT, half: FLOAT) -> tuple[INDEX, INDEX]:
        """Return which clusters of where each light starts are not stopped as a whole: the row, and the cluster."""
        clusters = self._starts.clusters
        start, size, begin = clusters.every
        of, at = pairs_of(clusters.count[light], begin[light])
        left = ~self._stop(light[of], start[at], size[at], middle[of], half[of])
        return of[left], (at - begin[light][of])[left]

    def witnessed(self, light: INDEX, point: FLOAT) -> FLAGS:
        """Return where all of a light comes to a point from one place where it starts, and is above the limit there."""
        if not len(light):
            return np.zeros(0, dtype=bool)
        above = self.over(light, point, np.zeros((len(light), 3))) > 1.0
        at = (above & self.column["moves"].take(light, 0).any(axis=1)).nonzero()[0]
        still = [(one, Walls()) for row in at for one in self.sources[light[row]].still(point[row])]
        of, table = at.repeat(len(still) // max(at.size, 1)), Lights(still)
        above[at] = False
        above[of[table.over(np.arange(len(of)), point[of], np.zeros((len(of), 3))) > 1.0]] = True
        rows = above.nonzero()[0]
        start, size, begin = self._starts.every
        of, at = pairs_of(self._starts.count[light[rows]], begin[light[rows]])
        walls, behind = self._held
        blur = np.repeat(self.column["blur"][light[rows], None], 3, axis=1)
        clear = walls.clear(start[at], size[at], point[rows][of], blur[of], which=behind[light[rows]][of])
        found = np.zeros(len(light), dtype=bool)
        found[rows[of[clear]]] = True
        passed, around = self._in_disc(light, point, np.zeros(len(light)))
        wide, centre = self.column["through_radius"].take(light, 0), self.column["through"].take(light, 0)
        cut = self._through_disc.take(light) & ~(np.sqrt(np.square(passed - centre).sum(axis=1)) + around <= wide)
        found &= ~cut & np.array([self.sources[number].whole for number in light.tolist()], dtype=bool)
        return found
