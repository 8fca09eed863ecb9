"""A recurve limb as rigid links with springs, and its string as the shortest taut line: nothing of the elastica.

The shape is that of least energy of springs and string for a nocking point held in place. The string knows of no
lift-off: it is the shortest line from the nock to the nocking point that keeps to the belly's side.
"""

import math

import numpy as np
from scipy.optimize import minimize, newton, root


class TautChain:
    """One limb, cut in links from the root to the nock, with half a link at each end."""

    def __init__(self, length, root, stiffness, curvature, offset, string, links):
        """Take stiffness and unstrung curvature as functions of the distance from the nock; root is x, y, lean."""
        link = length / links
        station = length - (np.arange(links) + 0.5) * link
        self.length = np.full(links + 1, link)
        self.length[[0, -1]] /= 2
        self.spring = stiffness(station) / link
        self.rest = curvature(station) * link
        self.root, self.offset, self.string = root, offset, string
        self.turns = np.full(links, 0.3 / links)

    def braced(self, height):
        """Slack length of the half string that is straight at this height."""
        return newton(lambda slack: self.weight(height, slack), 28.6, x1=28.7, tol=1e-9)

    def weight(self, draw, slack):
        """Draw weight of two such limbs with the nocking point held at a draw, from the last shape on."""
        return 2 * self.pull(np.array([draw, 0.0]), slack)[0]

    def pull(self, end, slack):
        """Pull (x, y) that the half string needs to have its end held at a place, from the last shape on."""

        def energy(turns):
            return self._energy(turns, end, slack)[:2]

        self.turns = minimize(
            energy, self.turns, jac=True, method="BFGS", options={"gtol": 1e-9, "maxiter": 3000}
        ).x
        _, _, tension, last = self._energy(self.turns, end, slack)
        return tension * last

    def _energy(self, turns, end, slack):
        """Energy, its derivatives by the turns, tension, and direction of the free string."""
        lean, mean, belly = self._belly(turns)
        touched = _shortest(belly[::-1], end)
        parts = np.diff(np.vstack([belly[::-1][touched], end]), axis=0)
        lengths = np.hypot(*parts.T)
        along = parts / lengths[:, None]
        stretch = lengths.sum() / slack - 1
        pull = np.zeros_like(belly)
        pull[touched] -= along
        pull[touched[1:]] += along[:-1]
        pull = pull[::-1]
        beyond = np.cumsum(pull[::-1], axis=0)[::-1]
        by_lean = self.length * (beyond[:, 0] * np.cos(lean) - beyond[:, 1] * np.sin(lean))
        by_mean = -self.offset * (pull[:, 0] * np.sin(mean) + pull[:, 1] * np.cos(mean))
        by_lean += by_mean / 2
        by_lean[1:] += by_mean[:-1] / 2
        by_lean[-1] += by_mean[-1] / 2
        bend = turns - self.rest
        tension = self.string * stretch
        gradient = self.spring * bend + tension * np.cumsum(by_lean[::-1])[::-1][1:]
        return (self.spring @ bend**2 + self.string * slack * stretch**2) / 2, gradient, tension, along[-1]

    def _belly(self, turns):
        """Lean of the links, mean lean at joints and nock, and the belly's places there."""
        x, y, start = self.root
        lean = start + np.concatenate([[0.0], np.cumsum(turns)])
        mean = np.append((lean[1:] + lean[:-1]) / 2, lean[-1])
        axis = np.stack(
            [x + np.cumsum(self.length * np.sin(lean)), y + np.cumsum(self.length * np.cos(lean))], -1
        )
        return lean, mean, axis + self.offset * np.stack([np.cos(mean), -np.sin(mean)], axis=-1)


def _shortest(points, end):
    """Which points, from the first one on, the shortest line to the end touches on its way."""
    touched = [0]
    while touched[-1] + 1 < len(points):
        ahead, straight = points[touched[-1] + 1 :] - points[touched[-1]], end - points[touched[-1]]
        angles = np.arctan2(ahead[:, 0], -ahead[:, 1])
        if angles.max() <= math.atan2(straight[0], -straight[1]):
            break
        touched.append(touched[-1] + 1 + int(np.argmax(angles)))
    return touched


class TautPair:
    """Two such limbs on a riser, upper first; the lower one in its mirror, outward positive."""

    def __init__(self, limbs, pivot, nocking_height):
        """Take the pivot as (depth, distance), and the nocking height from the bow's centre along the string."""
        self.limbs, self.pivot, self.nocking_height = limbs, np.array(pivot), nocking_height

    def braced(self, height, guess):
        """Slack lengths of both halves, such that the string is straight and as high as asked; guessed as given."""

        def misfit(unknown):
            tilt, *slack = unknown
            along, square = np.array([-np.sin(tilt), np.cos(tilt)]), np.array([np.cos(tilt), np.sin(tilt)])
            point = square * (self.pivot @ square + height - self.pivot[0]) + self.nocking_height * along
            pulls = self._pulls(point, slack)
            return np.append(pulls @ square, (pulls[0] + pulls[1]) @ along)

        found = root(misfit, [0.0, *guess], options={"eps": 1e-5})
        assert np.abs(found.fun).max() < 1e-5
        return found.x[1:]

    def weight(self, draw, slack):
        """Draw weight along the line from the pivot, the riser turned until nothing pulls across it."""

        def pull(turn):
            line = np.array([np.cos(turn), np.sin(turn)])
            total = self._pulls(self.pivot + (draw - self.pivot[0]) * line, slack).sum(axis=0)
            return total @ line, total[1] * line[0] - total[0] * line[1]

        return pull(newton(lambda turn: pull(turn)[1], 0.0, x1=0.01, tol=1e-9))[0]

    def _pulls(self, point, slack):
        """Pulls of both halves, seen from the riser, shape (2, 2)."""
        sides = np.array([[1.0, 1.0], [1.0, -1.0]])
        return np.array(
            [
                limb.pull(point * side, rest) * side
                for limb, rest, side in zip(self.limbs, slack, sides, strict=True)
            ]
        )
