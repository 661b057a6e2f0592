"""The nodes of a REML surface that carry weight, and what each range's nodes predict together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geoprune.geostat.covariance import Floats
from geoprune.geostat.design import Design, Integers
from geoprune.geostat.forms import Form, compress, lower_root
from geoprune.geostat.reml import Spectrum


@dataclass(frozen=True)
class Node:
    """One set of covariance parameters and its weight in the mixture; variances of field, vine and whole rows."""

    range_m: float
    sill: float
    nugget: float
    persistent_share: float
    weight: float
    row_variance: float = 0.0


@dataclass(frozen=True)
class NodeFamily:
    """All kept nodes of one range and persistent share, solved together in their eigenbasis.

    shares, totals, weights (S,); `totals` is sill + nugget, already inflated for what is not known of it;
    degrees of freedom of that variance.
    """

    design: Design
    spectrum: Spectrum
    shares: Floats
    totals: Floats
    weights: Floats
    degrees: int

    @property
    def nodes(self) -> list[Node]:
        """The family's members."""
        found, of_rows = zip(self.shares, self.totals, self.weights, strict=True), self.spectrum.row_share
        return [
            Node(
                range_m=self.spectrum.range_m,
                sill=float(t * (1 - a) * (1 - of_rows)),
                nugget=float(t * a),
                persistent_share=self.spectrum.persistent,
                weight=float(w),
                row_variance=float(t * (1 - a) * of_rows),
            )
            for a, t, w in found
        ]

    @property
    def root(self) -> Floats:
        """Square root of the noise (n,)."""
        return self.design.root

    def normal_inverse(self) -> Floats:
        """(X'K^-1 X)^-1 (S, p, p) in the design's basis, at unit variance."""
        return np.asarray(np.linalg.inv(self.spectrum.normal(self.spectrum.eigenvalues(self.shares))), dtype=float)

    def solve(self, values: Floats, member: Integers) -> tuple[Floats, Floats]:
        """Coefficients (p, k) and unit-variance residual weights (n, k) for centred values (n, k).

        member (k,) says which of the family's shares column k is solved with.
        """
        eigen = self.spectrum.eigenvalues(self.shares)[member].T
        rotated = self.spectrum.rotate(values / self.root[:, None])
        inverse = self.normal_inverse()[member]
        cross = self.spectrum.drift.T @ (rotated / eigen)
        coefficients = np.einsum("kpq,qk->pk", inverse, cross)
        rest = (rotated - self.spectrum.drift @ coefficients) / eigen
        return coefficients, (self.spectrum.vectors @ rest) / self.root[:, None]

    def solve_readings(self) -> tuple[Floats, Floats]:
        """`solve` of the readings themselves with every share: (p, S), (n, S)."""
        count = len(self.shares)
        return self.solve(np.repeat(self.design.residual[:, None], count, axis=1), np.arange(count))

    def form(self) -> Form:
        """Weighted mean and second moment of the family about the least-squares start, as a form;
        its `lower` is any root of the quadratic part, not yet a triangle.

        sum w (var + mean^2) = sum w sill own - c'Ac + |low'[c, x]|^2; low holds the drift's uncertainty and the means.
        With rows c, the correlations with the samples, is (1 - b) those of the field + b those of the rows: the form takes
        the field's correlations, then one column for each row that was sampled.
        """
        share, total, weight = self.shares, self.totals, self.weights
        eigen = self.spectrum.eigenvalues(share)
        reach = self.design.sharing_target(self.spectrum.persistent)
        back = (reach / self.root)[:, None] * self.spectrum.vectors
        rows = np.sqrt(((1 - share) ** 2 * total * weight) @ (1.0 / eigen))[:, None] * back.T
        p = self.spectrum.drift.shape[1]
        columns, linear = [], np.zeros(len(reach) + p)
        coefficients, residual = self.solve_readings()
        inverse = self.normal_inverse()
        for j in range(len(share)):
            half = np.linalg.cholesky(inverse[j]) * np.sqrt(total[j])
            cross = (1 - share[j]) * (back @ (self.spectrum.drift / eigen[j][:, None]))
            columns.append(np.vstack([-cross, np.eye(p)]) @ half * np.sqrt(weight[j]))
            mean = np.concatenate([(1 - share[j]) * reach * residual[:, j], coefficients[:, j]])
            columns.append(np.sqrt(weight[j]) * mean[:, None])
            linear += weight[j] * mean
        prior = float(np.sum(weight * total * (1 - share)))
        return self._beside_rows(Form(self.spectrum.range_m, prior, rows, np.hstack(columns), linear))

    def _beside_rows(self, form: Form) -> Form:
        """The form that takes the field's correlations and the shares in the sampled rows (n + q,) apart; without rows it
        stays as it is."""
        of_rows, sampled, n = self.spectrum.row_share, self.design.sampled_rows, len(self.root)
        if not len(sampled):
            return form
        member = (self.design.row[:, None] == sampled[None, :]).astype(float)
        spread = np.hstack([(1 - of_rows) * np.eye(n), of_rows * member])
        return Form(
            range_m=form.range_m,
            prior=(1 - of_rows) * form.prior,
            lower=form.lower @ spread,
            low=np.vstack([spread.T @ form.low[:n], form.low[n:]]),
            linear=np.concatenate([spread.T @ form.linear[:n], form.linear[n:]]),
            row_prior=of_rows * form.prior,
        )

    def leave_one_out(self) -> tuple[Floats, Floats, Floats]:
        """Errors, variances and score (S, n) of each reading left out, at each node with its unit variance.

        With Q = K^-1 - K^-1 X (X'K^-1 X)^-1 X'K^-1: error (Qz)_i / Q_ii, variance 1 / Q_ii (Dubrule 1983, Math. Geol.
        15:687-699). The third is z'Qz. NaN where a reading alone carries a coefficient.
        """
        spectrum, n = self.spectrum, len(self.root)
        eigen = spectrum.eigenvalues(self.shares)
        _, residual = self.solve_readings()
        full = (1.0 / eigen) @ np.square(spectrum.vectors).T
        drift = np.einsum("nm,smp->snp", spectrum.vectors, spectrum.drift / eigen[:, :, None], optimize=True)
        lost = np.einsum("snp,spq,snq->sn", drift, self.normal_inverse(), drift, optimize=True)
        kept = np.where(full - lost > 1e-9 * full, full - lost, np.nan) / self.design.noise
        squares = residual.T @ self.design.residual
        return residual.T / kept, 1.0 / kept, np.repeat(squares[:, None], n, axis=1)


def range_form(families: list[NodeFamily]) -> Form:
    """One form for all families of one range: their sums, compressed to triangles."""
    forms = [family.form() for family in families]
    return Form(
        range_m=forms[0].range_m,
        prior=sum(form.prior for form in forms),
        lower=lower_root(np.vstack([form.lower for form in forms])),
        row_prior=sum(form.row_prior for form in forms),
        low=compress(np.hstack([form.low for form in forms])),
        linear=np.sum([form.linear for form in forms], axis=0),
    )
