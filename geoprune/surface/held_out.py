"""Many sets of weights at the same places: their likelihoods, leave-one-out errors, and simulated sets. Arrays only.

Tests of structure, of covariates and of rows compare what was weighed with hundreds of simulated sets; one
eigen-decomposition for each range serves them all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geoprune.geostat import AveragedKriging
from geoprune.geostat.design import Design
from geoprune.geostat.reml import Spectrum, log_constant, profile

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Nodes:
    """The nodes of a REML surface at one design.

    spectra (R) one for each range, persistent and row share; shares (S,); log_prior (R, S), beliefs in the shares in it
    """

    design: Design
    spectra: tuple[Spectrum, ...]
    shares: Floats
    log_prior: Floats

    def likelihoods(self, values: Floats) -> tuple[Floats, Floats]:
        """Log likelihood and variance (R, S, k) for values (n, k)."""
        constant = log_constant(self.design)
        whitened = values / self.design.root[:, None]
        parts = [profile(s, s.rotate(whitened), self.shares, constant) for s in self.spectra]
        return np.array([p[0] for p in parts]), np.array([p[1] for p in parts])

    def weights(self, values: Floats) -> tuple[Floats, Floats]:
        """Weight of each node (R, S, k), summing to 1 over nodes, and its variance."""
        loglik, variance = self.likelihoods(values)
        score = loglik + self.log_prior[..., None]
        score = score - score.max(axis=(0, 1))
        weight = np.exp(score)
        return weight / weight.sum(axis=(0, 1)), variance


def make_nodes(fit: AveragedKriging) -> Nodes:
    """The nodes that a fit mixes, every one of them; the fit must be of few enough readings to have kept `spectra`."""
    spectra = tuple(spectrum for of_share in fit.spectra for spectrum in of_share)
    prior = (fit.log_prior[None, :, :] + fit.beliefs[:, None, None]).reshape(len(spectra), -1)
    return Nodes(fit.design, spectra, fit.surface.shares, prior)


def residuals(spectrum: Spectrum, share: float, rotated: Floats) -> tuple[Floats, Floats]:
    """Leave-one-out residuals (n, k) of whitened values, and their variances (n,) at unit total variance.

    With Q = K^-1 - K^-1 X (X'K^-1 X)^-1 X'K^-1: residual (Qz)_i / Q_ii, variance 1 / Q_ii (Dubrule 1983, Math. Geol.
    15:687-699).
    """
    weight = 1.0 / spectrum.eigenvalues(np.array([share]))[0]
    weighted = spectrum.drift * weight[:, None]
    normal = np.linalg.inv(spectrum.drift.T @ weighted)
    back = spectrum.vectors @ weighted
    diagonal = np.square(spectrum.vectors) @ weight - np.einsum("np,pq,nq->n", back, normal, back)
    left = rotated * weight[:, None] - weighted @ (normal @ (weighted.T @ rotated))
    return spectrum.vectors @ left / diagonal[:, None], 1.0 / diagonal


def held_out_errors(nodes: Nodes, values: Floats) -> Floats:
    """Leave-one-out errors (n, k) of many sets of readings (n, k), node weights those of all readings of each set."""
    weight, _ = nodes.weights(values)
    whitened = values / nodes.design.root[:, None]
    errors = np.zeros_like(values)
    for i, spectrum in enumerate(nodes.spectra):
        rotated = spectrum.rotate(whitened)
        for j, share in enumerate(nodes.shares):
            if weight[i, j].max() > 1e-4:
                errors += weight[i, j] * residuals(spectrum, float(share), rotated)[0]
    return errors * nodes.design.root[:, None]


def simulate_readings(nodes: Nodes, values: Floats, count: int, *, seed: int) -> Floats:
    """Readings (n, count) drawn from the fitted mixture of covariances, mean zero."""
    rng = np.random.default_rng(seed)
    weight = nodes.weights(values[:, None])[0][..., 0]
    chosen = rng.choice(weight.size, size=count, p=weight.ravel())
    drawn = np.empty((len(values), count))
    for node in np.unique(chosen):
        i, j = np.unravel_index(int(node), weight.shape)
        spectrum = nodes.spectra[i]
        root = np.sqrt(spectrum.eigenvalues(nodes.shares[j : j + 1])[0])
        which = np.flatnonzero(chosen == node)
        drawn[:, which] = spectrum.vectors @ (root[:, None] * rng.standard_normal((len(values), len(which))))
    return drawn * nodes.design.root[:, None]
