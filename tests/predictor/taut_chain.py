"""A recurve limb as rigid links with springs, and its string as the shortest taut line: nothing of the elastica.

The shape is that of least energy of springs and string for a nocking point held in place. The string knows of no
lift-off: it is the shortest line from the nock to the nocking point that keeps to the belly's side.
"""

import math

import numpy as np
from scipy.optimize import brentq, minimize


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
        return brentq(lambda slack: self.weight(height, slack), 28.0, 30.0, xtol=1e-9)

    def weight(self, draw, slack):
        """Draw weight with the nocking point held at a draw, from the last shape on."""

        def energy(turns):
            return self._energy(turns, np.array([draw, 0.0]), slack)[:2]

        self.turns = minimize(
            energy, self.turns, jac=True, method="BFGS", options={"gtol": 1e-7, "maxiter": 3000}
        ).x
        _, _, tension, last = self._energy(self.turns, np.array([draw, 0.0]), slack)
        return 2 * tension * last[0]

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
