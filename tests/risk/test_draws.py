"""Draws of what is not known: the triangular distribution, Sobol points, usual unknowns."""

from dataclasses import replace

import numpy as np
import pytest

from planner.risk.draws import axes, draw, points, triangular, whole_draws
from planner.risk.usual import TOLD, allowed_points, with_usual_unknowns
from planner.season.domain import Quantity, Unknown
from tests.support.seasons import field, lot, season

SIZES = (2_400.0, 2_800.0, 3_000.0)


class TestTriangular:
    """Triangular distribution: textbook formulas, from memory; the figures are derived."""

    @pytest.mark.parametrize(
        ("share", "expected"),
        [(0.0, 2_400), (0.05, 2_509.545), (0.5, 2_746.410), (0.95, 2_922.540), (1.0, 3_000)],
    )
    def test_quantiles(self, share, expected):
        assert triangular(np.array([share]), *SIZES)[0] == pytest.approx(expected, abs=5e-4)

    def test_the_mode_stands_at_its_share(self):
        low, mode, high = SIZES
        share = (mode - low) / (high - low)
        assert triangular(np.array([share]), *SIZES)[0] == pytest.approx(mode)

    def test_mean_and_variance_are_those_of_the_formulas(self):
        """Mean (a + m + b) / 3; variance (aa + mm + bb - am - ab - mb) / 18."""
        (u,) = points(1, 1 << 16, seed=3)
        drawn = triangular(u[:, 0], *SIZES)
        assert drawn.mean() == pytest.approx(2_733.333, abs=0.01)
        assert drawn.std() == pytest.approx(124.7219, abs=0.01)

    def test_mean_of_a_unit_weight_is_not_weight_of_the_mean(self):
        """Derived: 140,000 over such a size is 51.3282 lb on average, over the mean 51.2195."""
        (u,) = points(1, 1 << 16, seed=3)
        weights = 140_000.0 / triangular(u[:, 0], *SIZES)
        assert weights.mean() == pytest.approx(51.3282, abs=1e-4)

    @pytest.mark.parametrize("ends", [(0.0, 0.0, 1.0), (0.0, 1.0, 1.0)])
    def test_mode_at_an_end(self, ends):
        """Its distribution is then 1 - (1 - x)^2, or x^2."""
        x = triangular(np.array([0.19, 0.64]), *ends)
        expected = 1.0 - np.sqrt([0.81, 0.36]) if ends[1] == 0.0 else np.sqrt([0.19, 0.64])
        assert x == pytest.approx(expected)

    def test_nothing_between(self):
        assert list(triangular(np.array([0.1, 0.9]), 2.0, 2.0, 2.0)) == [2.0, 2.0]


class TestPoints:
    def test_every_axis_has_half_of_its_points_below_half(self):
        """Balance of a power of two of Sobol points: SciPy, documentation of scipy.stats.qmc."""
        (u,) = points(40, 1 << 7, seed=0)
        assert u.shape == (128, 40)
        assert {int((u[:, axis] < 0.5).sum()) for axis in range(40)} == {64}

    def test_parts_are_the_points_at_once(self, monkeypatch):
        (whole,) = points(3, 1 << 6, seed=5)
        monkeypatch.setattr("planner.risk.draws.CHUNK", 24)
        parts = list(points(3, 1 << 6, seed=5))
        assert {len(p) for p in parts} == {8}
        assert np.array_equal(np.vstack(parts), whole)

    def test_same_seed_same_points(self):
        (one,), (same,), (other,) = (points(2, 64, seed) for seed in (1, 1, 2))
        assert np.array_equal(one, same)
        assert not np.array_equal(one, other)

    def test_axes_beyond_the_table_are_drawn_at_random(self, monkeypatch):
        monkeypatch.setattr("planner.risk.draws.MOST_AXES", 2)
        (u,), (same,) = points(5, 1 << 10, seed=1), points(5, 1 << 10, seed=1)
        assert u.shape == (1 << 10, 5)
        assert np.array_equal(u, same)
        assert u.mean(axis=0) == pytest.approx([0.5] * 5, abs=0.05)

    @pytest.mark.parametrize(("asked", "made"), [(1, 1), (2, 2), (3, 4), (1_000, 1_024)])
    def test_draws_are_a_power_of_two(self, asked, made):
        assert whole_draws(asked) == made


class TestAxes:
    LOTS = (lot("L1", germination=0.9), lot("L2"), lot("L3", germination=0.95))

    def of(self, *rows: Unknown):
        return axes(season(lots=self.LOTS, fields=(field("A"), field("B")), unknowns=rows))

    def test_each_on_its_own_or_together(self):
        size = Unknown(Quantity.SEEDS_PER_LB, -0.1, 0.1)
        assert [a.names for a in self.of(size)] == [("L1",), ("L2",), ("L3",)]
        assert [a.names for a in self.of(replace(size, together=True))] == [("L1", "L2", "L3")]
        assert [a.names for a in self.of(replace(size, of=("L2",)))] == [("L2",)]

    def test_lots_without_a_germination_have_none_to_draw(self):
        rows = self.of(Unknown(Quantity.GERMINATION, -0.1, 0.1))
        assert [a.names for a in rows] == [("L1",), ("L3",)]

    def test_fields_and_products(self):
        rows = self.of(Unknown(Quantity.ACRES, -0.1, 0), Unknown(Quantity.PRODUCT_USED, 0, 0.1))
        assert [a.names for a in rows] == [("A",), ("B",), ("Alpha",)]

    def test_rows_about_the_same_thing_all_count(self):
        """20 % more and then 10 % less is 8 % more; points of germination add up."""
        rows = (
            Unknown(Quantity.ACRES, 0.2, 0.2, 0.2),
            Unknown(Quantity.ACRES, -0.1, -0.1, -0.1, of=("B",)),
            Unknown(Quantity.GERMINATION, 0.02, 0.02, 0.02),
            Unknown(Quantity.GERMINATION, -0.05, -0.05, -0.05, of=("L1",)),
        )
        one = season(lots=self.LOTS, fields=(field("A"), field("B")), unknowns=rows)
        ((n, changes),) = draw(one, 4, seed=0)
        assert n == 4
        assert changes.factor(Quantity.ACRES, "A") == pytest.approx([1.2] * 4)
        assert changes.factor(Quantity.ACRES, "B") == pytest.approx([1.08] * 4)
        assert changes.factor(Quantity.GERMINATION, "L1") == pytest.approx([-0.03] * 4)
        assert changes.factor(Quantity.GERMINATION, "L2") == 0.0
        assert changes.factor(Quantity.PRODUCT_USED, "Alpha") == 1.0


class TestUsual:
    @pytest.mark.parametrize(
        ("germination", "points"),
        [(0.97, 5), (0.96, 5), (0.95, 6), (0.9, 6), (0.89, 7), (0.8, 7), (0.75, 8), (0.6, 9)],
    )
    def test_points_allowed_between_two_tests(self, germination, points):
        """7 CFR 201.63, tests of 400 seeds."""
        assert allowed_points(germination) == pytest.approx(points / 100)

    def test_only_what_has_a_source(self):
        """4 % of a soybean seed count: A. Hall (AOSA/SCST), "Seed Count Standardization"."""
        one = with_usual_unknowns(season(lots=(lot("L1", germination=0.97), lot("L2"))))
        sizes, germination = one.unknowns
        assert (sizes.what, sizes.low, sizes.high) == (Quantity.SEEDS_PER_LB, -0.04, 0.04)
        assert (germination.what, germination.of) == (Quantity.GERMINATION, ("L1",))
        assert (germination.low, germination.high) == pytest.approx((-0.05, 0.03))
        assert one.notes == (TOLD,)

    def test_a_season_that_names_its_own_keeps_them(self):
        own = season(unknowns=(Unknown(Quantity.ACRES, -0.1, 0.1),))
        assert with_usual_unknowns(own) is own
