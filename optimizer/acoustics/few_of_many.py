"""Many spectra as sums of a few."""

import numpy as np

from optimizer.acoustics.modes import Complexes, Floats, Ints


def few_of_many(spectra: Complexes, tolerance: float) -> tuple[Floats, Complexes]:
    """Real weights (N, R) and spectra (R, F) whose products are the spectra (N, F).

    R is the smallest number for which what is dropped is less than `tolerance` of the largest
    there is, frequency by frequency and in the real and the imaginary part: what is weak at low
    frequencies counts there as much, and loss beside a strong reactance.
    """
    alike, which = _alike(spectra)
    parts = np.concatenate([alike.real, alike.imag], axis=1)
    largest = np.abs(parts).max(axis=0, initial=0.0)
    even = parts / np.where(largest > 0.0, largest, 1.0)
    u, s, _ = np.linalg.svd(even, full_matrices=False)
    rank = int(np.count_nonzero(s > tolerance * s[0])) if len(s) and s[0] > 0 else 0
    weights = u[:, :rank] * np.any(parts != 0.0, axis=1)[:, None]  # of nothing nothing
    return weights[which], weights.T @ alike


def _alike(spectra: Complexes) -> tuple[Complexes, Ints]:
    """The spectra (K, F) that differ, in order of their values, and which of them each is (N,)."""
    kinds: dict[bytes, int] = {}
    plain = np.ascontiguousarray(spectra) + 0.0  # one zero, not two
    kind = np.array([kinds.setdefault(row.tobytes(), len(kinds)) for row in plain], dtype=np.int64)
    alike = plain[np.unique(kind, return_index=True)[1]]
    order = np.lexsort(alike.view(np.float64).T[::-1])
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    return alike[order], rank[kind]
