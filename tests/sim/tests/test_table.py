"""What the tables say of intervals."""
from sim.table import refused


def flights(cls, held, of):
    return [dict(cls=cls, half=dict(h_in90=float(i < held))) for i in range(of)]


def test_a_class_is_refused_only_at_a_level_that_holds_for_all():
    rows = flights("told", 180, 200) + flights("narrow", 150, 200) + flights("wide", 199, 200)
    share, classes = refused(rows, "half", "h_in90")
    assert abs(share - 529 / 600) < 1e-12
    assert [c for c, _ in classes] == ["wide", "narrow"] or [c for c, _ in classes] == ["narrow", "wide"]
    # 168 of 200 alone is refused at 1 % (p = 0.0089 by the binomial distribution); beside another class it is not.
    assert refused(flights("odd", 168, 200) + flights("told", 180, 200), "half", "h_in90")[1] == []
    assert len(refused(flights("odd", 168, 200), "half", "h_in90")[1]) == 1


def test_nothing_measured_refuses_nothing():
    assert refused([dict(cls="none", half=None)], "half", "h_in90") == (0, [])
