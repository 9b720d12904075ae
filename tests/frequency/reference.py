"""Frequencies of clamped beams for `tests/frequency.rs`: a list of beams as JSON on stdin, cycles a minute on stdout.

Lowest frequency of a clamped beam with a rigid body at its end, by sixty finite elements: beam theory of Euler and
Bernoulli, cubic shape functions and their consistent masses (textbook of finite elements, from memory), eigenvalues by
LAPACK through SciPy. The stiffness goes evenly from `at_clamp` to `at_tip`, in N·mm².
"""

import json
import sys

import numpy as np
from scipy import linalg

ELEMENTS = 60


def frequency(beam):
    density, step = beam["beam_g_per_mm"], beam["free_mm"] / ELEMENTS
    size = 2 * (ELEMENTS + 1)
    stiff, mass = np.zeros((size, size)), np.zeros((size, size))
    for element in range(ELEMENTS):
        along = (element + 0.5) / ELEMENTS
        # N is 10⁶ g·mm/s².
        bending = 1e6 * (beam["at_clamp"] + (beam["at_tip"] - beam["at_clamp"]) * along)
        here = slice(2 * element, 2 * element + 4)
        stiff[here, here] += bending / step**3 * np.array([
            [12, 6 * step, -12, 6 * step],
            [6 * step, 4 * step**2, -6 * step, 2 * step**2],
            [-12, -6 * step, 12, -6 * step],
            [6 * step, 2 * step**2, -6 * step, 4 * step**2],
        ])
        mass[here, here] += density * step / 420 * np.array([
            [156, 22 * step, 54, -13 * step],
            [22 * step, 4 * step**2, 13 * step, -3 * step**2],
            [54, 13 * step, 156, -22 * step],
            [-13 * step, -3 * step**2, -22 * step, 4 * step**2],
        ])
    body, beyond = beam["body_g"], beam["beyond_mm"]
    mass[-2:, -2:] += np.array([[body, body * beyond], [body * beyond, body * beyond**2 + beam["body_inertia_gmm2"]]])
    lowest = linalg.eigh(stiff[2:, 2:], mass[2:, 2:], eigvals_only=True, subset_by_index=[0, 0])[0]
    return float(np.sqrt(lowest) * 60 / (2 * np.pi))


json.dump([frequency(beam) for beam in json.load(sys.stdin)], sys.stdout)
