"""Many spectra as sums of a few."""

import numpy as np

from optimizer.acoustics.modes import Complexes, Floats


def few_of_many(spectra: Complexes, tolerance: float) -> tuple[Floats, Complexes]:
    """Real weights (N, R) and spectra (R, F) whose products are the spectra (N, F).

    R is the smallest number for which what is dropped is less than `tolerance` of the largest
    there is, frequency by frequency and in the real and the imaginary part: what is weak at low
    frequencies counts there as much, and loss beside a strong reactance.
    """
    alike, which = np.unique(spectra, axis=0, return_inverse=True)
    parts = np.concatenate([alike.real, alike.imag], axis=1)
    largest = np.abs(parts).max(axis=0, initial=0.0)
    even = parts / np.where(largest > 0.0, largest, 1.0)
    u, s, _ = np.linalg.svd(even, full_matrices=False)
    rank = int(np.count_nonzero(s > tolerance * s[0])) if len(s) and s[0] > 0 else 0
    weights = u[:, :rank]
    return weights[which.ravel()], weights.T @ alike
