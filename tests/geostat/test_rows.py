"""An effect of whole rows beside the field: likelihood, predictions, block means and draws."""

from functools import partial

import numpy as np
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel, Matern, WhiteKernel

from geoprune.geostat import averaging, fit_averaged

#: Stretches an axis of a kernel so that it does not count, and shrinks one so that only equal labels do.
NO_MATTER, ALIKE = 1e12, 1e-3


def vineyard(*, seasons=False, seed=5):
    """Thirty readings in eight rows of 60 m and targets in ten, two of them without a reading."""
    rng = np.random.default_rng(seed)
    row, there = rng.integers(0, 8, 30), np.repeat(np.arange(10), 4)
    points = np.column_stack([row * 2.7, rng.uniform(0.0, 60.0, 30)])
    targets = np.column_stack([there * 2.7, np.tile([5.0, 20.0, 22.0, 50.0], 10)])
    values = 1.0 + 0.3 * rng.standard_normal(8)[row] + 0.3 * rng.standard_normal(30)
    season = np.where(np.arange(30) < 15, 1, 2) if seasons else None
    return points, values, row, targets, there, season


def one_node(points, values, row, *, share, of_rows, range_m, **others):
    """A fit whose parameters are one range, nugget share and row share; variance from the readings."""
    grid = {"ranges": [range_m], "shares": [share], "row_shares": {of_rows: 1.0}}
    return fit_averaged(points, values, row=row, **grid, **others)


class Peer:
    """Ordinary kriging by scikit-learn's Gaussian process: its simple kriging, and the mean by generalised least squares."""

    def __init__(self, points, values, row, node):
        field = ConstantKernel(node.sill) * Matern([node.range_m, node.range_m, NO_MATTER], nu=0.5)
        rows = ConstantKernel(node.row_variance) * RBF([NO_MATTER, NO_MATTER, ALIKE])
        self.smooth = field + rows
        self.where = np.column_stack([points, row])
        ones = self.solve(np.ones(len(values)), node)
        self.information = float(ones.alpha_.sum())
        self.mean = float(ones.alpha_ @ values) / self.information
        self.ones, self.rest = ones, self.solve(values - self.mean, node)

    def solve(self, values, node):
        kernel = self.smooth + WhiteKernel(node.nugget)
        return GaussianProcessRegressor(kernel, alpha=0.0, optimizer=None).fit(self.where, values)

    def covariance(self, targets, row):
        """Joint mean (m,) and covariance (m, m) of field and rows at targets, without the nugget."""
        there = np.column_stack([targets, row])
        cross = self.smooth(there, self.where)
        lack = 1.0 - cross @ self.ones.alpha_
        noisy = self.ones.kernel_(self.where)
        left = self.smooth(there) - cross @ np.linalg.solve(noisy, cross.T) + np.outer(lack, lack) / self.information
        return self.mean + cross @ self.rest.alpha_, left


@pytest.fixture(params=[(0.3, 0.25), (0.6, 0.75), (0.05, 0.5)])
def fitted(request):
    points, values, row, targets, there, _ = vineyard()
    share, of_rows = request.param
    fit = one_node(points, values, row, share=share, of_rows=of_rows, range_m=12.0)
    return fit, Peer(points, values, row, fit.nodes[0]), targets, there


def test_points_in_weighed_and_other_rows_equal_a_gaussian_process_with_a_kernel_of_rows(fitted):
    fit, peer, targets, there = fitted
    mean, covariance = peer.covariance(targets, there)
    ours = fit.predict(targets, row=there)
    assert ours[0] == pytest.approx(mean, rel=1e-8)
    assert ours[1] == pytest.approx(np.diag(covariance), rel=1e-8)


def test_means_of_panels_and_of_zones_across_rows_equal_those_of_the_gaussian_process(fitted):
    fit, peer, targets, there = fitted
    mean, covariance = peer.covariance(targets, there)
    for groups in (there, np.arange(40) % 3, np.where(there < 2, 0, -1)):
        count = groups.max() + 1
        average = np.where(groups[None, :] == np.arange(count)[:, None], 1.0, 0.0)
        average /= average.sum(axis=1, keepdims=True)
        ours = fit.group_means(targets, groups, count, row=there)
        assert ours[0] == pytest.approx(average @ mean, rel=1e-8)
        assert ours[1] == pytest.approx(np.diag(average @ covariance @ average.T), rel=1e-8)


def test_draws_of_panels_have_the_joint_law_of_the_gaussian_process():
    points, values, row, targets, there, _ = vineyard()
    fit = one_node(points, values, row, share=0.3, of_rows=0.75, range_m=12.0)
    mean, covariance = Peer(points, values, row, fit.nodes[0]).covariance(targets, there)
    panels = np.arange(40) // 2
    average = np.where(panels[None, :] == np.arange(20)[:, None], 0.5, 0.0)
    drawn = fit.simulate_groups(targets, panels, 20, 6000, seed=2, row=there).mean
    expected = average @ covariance @ average.T
    sd = np.sqrt(np.diag(expected))
    assert np.abs(drawn.mean(axis=0) - average @ mean).max() < 5.0 * sd.max() / np.sqrt(6000)
    # the size of the variance is drawn as well, so that the mean of the covariances is held, not each of them
    assert np.abs(np.cov(drawn.T) / np.outer(sd, sd) - expected / np.outer(sd, sd)).max() < 0.12


def test_a_row_without_a_reading_is_as_uncertain_as_a_place_in_no_row():
    points, values, row, targets, _, _ = vineyard()
    fit = one_node(points, values, row, share=0.3, of_rows=0.5, range_m=12.0)
    far = targets[:4] + np.array([500.0, 0.0])
    unknown = fit.predict(far, row=np.full(4, 9))
    for nowhere in (fit.predict(far), fit.predict(far, row=np.full(4, -1))):
        assert np.array_equal(unknown[0], nowhere[0])
        assert np.array_equal(unknown[1], nowhere[1])
    known = fit.predict(far, row=np.full(4, int(np.bincount(row).argmax())))
    assert (known[1] < unknown[1]).all()


def test_rails_restricted_likelihood_equals_the_published_one():
    # Pinheiro & Bates 2000, Mixed-Effects Models in S and S-PLUS, sec. 1.1, travel times of ultrasonic waves in six rails:
    # REML log likelihood -61.0885, standard deviations 24.80547 (rail) and 4.020779 (residual), mean 66.5; from memory
    times = [55, 53, 54, 26, 37, 32, 78, 91, 85, 92, 100, 96, 49, 51, 50, 80, 85, 83]
    rail, apart = np.repeat(np.arange(6), 3), np.column_stack([np.arange(18) * 1e9, np.zeros(18)])
    share = 4.020779**2 / (4.020779**2 + 24.80547**2)
    fit = one_node(apart, times, rail, share=share, of_rows=1.0, range_m=1.0)
    surface = fit.surfaces[0]
    assert surface.loglik[0, 0] == pytest.approx(-61.0885, abs=5e-5)
    assert np.sqrt(surface.total_variance[0, 0] * (1.0 - share)) == pytest.approx(24.80547, rel=1e-6)
    assert np.sqrt(surface.total_variance[0, 0] * share) == pytest.approx(4.020779, rel=1e-6)
    assert fit.coefficients[0] == pytest.approx(66.5, rel=1e-12)


@pytest.mark.parametrize("seasons", [False, True])
def test_leaving_a_reading_out_equals_a_new_fit_to_the_others(seasons, monkeypatch):
    monkeypatch.setattr("geoprune.geostat.averaging._families", partial(averaging._families, kept=1.0))
    points, values, row, _, _, season = vineyard(seasons=seasons)
    grid = {"ranges": [5.0, 15.0, 60.0], "shares": [0.1, 0.5, 0.9, 1.0], "persistent_shares": (0.0, 0.5)}
    fit = fit_averaged(points, values, row=row, season=season, **grid)
    mean, variance = fit.leave_one_out()
    for i in (3, 21):
        others = np.arange(30) != i
        part = {"row": row[others], "season": None if season is None else season[others]}
        again = fit_averaged(
            points[others], values[others], target_season=None if season is None else season[i], **part, **grid
        )
        one, spread = again.predict(points[[i]], row=row[[i]])
        assert mean[i] == pytest.approx(one[0], rel=1e-8)
        assert variance[i] == pytest.approx(spread[0] + again.nugget, rel=1e-8)


def test_without_rows_nothing_changes_to_the_last_digit():
    points, values, _, targets, there, _ = vineyard()
    plain, rowless = fit_averaged(points, values), fit_averaged(points, values, row=np.full(30, -1))
    assert np.array_equal(plain.predict(targets), rowless.predict(targets, row=there))
    groups = np.arange(40) // 2
    assert np.array_equal(
        plain.simulate_groups(targets, groups, 20, 50, seed=1).mean,
        rowless.simulate_groups(targets, groups, 20, 50, seed=1, row=there).mean,
    )


def test_rows_that_differ_are_believed_and_rows_that_do_not_are_doubted():
    noise = np.random.default_rng(1).standard_normal((2, 40))
    at = np.repeat(np.arange(10), 4)
    place = np.column_stack([at * 2.7, np.tile(np.linspace(0.0, 60.0, 4), 10)])
    apart = fit_averaged(place, 2.0 * np.random.default_rng(2).standard_normal(10)[at] + 0.5 * noise[0], row=at)
    alike = fit_averaged(place, noise[1], row=at)
    assert apart.row_belief > 0.95
    assert alike.row_belief < 0.2
    assert apart.row_variance > apart.nugget
