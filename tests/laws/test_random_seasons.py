"""Random seasons are as they say, and the same again for the same arguments."""

from planner.optimize.model.instance import make_instance
from tests.support.random_season import hard_season


def test_hard_seasons_are_as_they_say():
    """The same arguments give the same season; seed suffices or not as asked, wherever it goes."""
    for seed in range(8):
        for short in (False, True):
            one = hard_season(30, 20, 5, 2, seed, short=short)
            assert one == hard_season(30, 20, 5, 2, seed, short=short)
            weakest = min(x.germination for x in one.lots)
            strongest = max(x.germination for x in one.lots)
            sown = [
                f.sowing.seeds
                if hasattr(f.sowing, "seeds")
                else f.sowing.plants / f.sowing.emergence / (strongest if short else weakest)
                for f in one.fields
            ]
            need = sum(f.acres * s * 1.03 / 140_000 for f, s in zip(one.fields, sown, strict=True))
            have = sum(x.on_hand + x.can_buy for x in one.lots)
            assert have < need if short else have > need
            assert len(make_instance(one).choices) > 0
