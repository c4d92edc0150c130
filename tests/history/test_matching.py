"""The alignment of two lists in order: exact, and equal to what known methods find where these apply."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.optimize import linear_sum_assignment

from sewermap.history.kinds import vocabulary
from sewermap.history.matching import align, matching_model, terms_of
from sewermap.history.matching_kernel import Pairs, bench_of, search, settled

SIDES = st.integers(0, 7)
COSTS = st.floats(-8.0, 8.0, allow_nan=False)


def cost_of(partner, pair, missed, new) -> float:
    """What a matching costs, added up by hand."""
    paired = {j for j in partner if j >= 0}
    cost = sum(pair[i, j] if j >= 0 else new[i] for i, j in enumerate(partner))
    return cost + sum(missed[j] for j in range(len(missed)) if j not in paired)


def in_order(n: int, count: int):
    """Every matching of n rows with columns in order: each as the column of every row, −1 for none."""
    for size in range(min(n, count) + 1):
        for rows in itertools.combinations(range(n), size):
            for columns in itertools.combinations(range(count), size):
                partner = [-1] * n
                for i, j in zip(rows, columns, strict=True):
                    partner[i] = j
                yield partner


def with_neighbours_swapped(n: int, count: int, swaps):
    """Every matching in order, with any disjoint neighbouring pairs of it crosswise where that is allowed."""
    for partner in in_order(n, count):
        places = [i for i in range(1, n) if partner[i] > 0 and partner[i - 1] == partner[i] - 1 and swaps[i, partner[i]]]
        for size in range(len(places) + 1):
            for chosen in itertools.combinations(places, size):
                if all(later - sooner > 1 for sooner, later in itertools.pairwise(chosen)):
                    crossed = list(partner)
                    for i in chosen:
                        crossed[i], crossed[i - 1] = crossed[i - 1], crossed[i]
                    yield crossed


@st.composite
def problems(draw, most: int):
    """Costs of pairs (some impossible), misses and new ones."""
    n, count = draw(st.integers(0, most)), draw(st.integers(0, most))
    pair = draw(arrays(float, (n, count), elements=COSTS | st.just(np.inf)))
    return pair, draw(arrays(float, count, elements=COSTS)), draw(arrays(float, n, elements=COSTS))


@given(problems(7))
@settings(max_examples=60, deadline=None)
def test_no_matching_in_order_is_cheaper(problem) -> None:
    """Up to 7 by 7, brute force over all order-preserving matchings finds the same cost, and the partners cost what is said."""
    pair, missed, new = problem
    cost, partner = align(pair, missed, new)
    assert cost == pytest.approx(min(cost_of(one, pair, missed, new) for one in in_order(*pair.shape)), abs=1e-9)
    assert cost == pytest.approx(cost_of(partner, pair, missed, new), abs=1e-9)
    kept = [j for j in partner if j >= 0]
    assert kept == sorted(set(kept))


@given(problems(5), st.integers(0, 2**10 - 1))
@settings(max_examples=60, deadline=None)
def test_near_neighbours_may_stand_the_other_way_round(problem, bits) -> None:
    """With swaps allowed, brute force over matchings in order with swapped neighbours finds the same cost."""
    pair, missed, new = problem
    n, count = pair.shape
    near = np.array([bits >> k & 1 for k in range(10)], bool)
    rows, columns = near[:n], near[5 : 5 + count]
    cost, partner = align(pair, missed, new, (rows, columns))
    swaps = rows[:, None] | columns
    everything = with_neighbours_swapped(n, count, swaps)
    assert cost == pytest.approx(min(cost_of(one, pair, missed, new) for one in everything), abs=1e-9)
    assert cost == pytest.approx(cost_of(partner, pair, missed, new), abs=1e-9)


@given(st.integers(1, 12), st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_sorted_points_reach_the_best_assignment(count, seed) -> None:
    """On a line with equal counts and cost |x - y|, order costs nothing: scipy's assignment is no cheaper (theorem)."""
    random = np.random.default_rng(seed)
    x, y = np.sort(random.uniform(0, 40, (2, count)), axis=1)
    apart = np.abs(x[:, None] - y)
    rows, columns = linear_sum_assignment(apart)
    cost, _ = align(apart, np.full(count, 1e6), np.full(count, 1e6))
    assert cost == pytest.approx(apart[rows, columns].sum())


def test_the_optimum_keeps_order_where_the_greedy_crosses() -> None:
    """10.0, 12.0, 40.0 and 11.4, 13.5, 40.2: nearest first costs 4.3, in order 3.1 (computed by hand and with scipy)."""
    last, this = np.array([10.0, 12.0, 40.0]), np.array([11.4, 13.5, 40.2])
    cost, partner = align(np.abs(this[:, None] - last), np.full(3, 9.0), np.full(3, 9.0))
    assert (round(cost, 9), partner.tolist()) == (3.1, [0, 1, 2])


def test_needleman_and_wunsch_score() -> None:
    """GATTACA with GCATGCG at +1 match, -1 mismatch, -1 gap scores 0 (run with Biopython's pairwise2: three alignments)."""
    one, other = np.array(list("GATTACA")), np.array(list("GCATGCG"))
    pair = np.where(one[:, None] == other, -1.0, 1.0)
    assert align(pair, np.ones(7), np.ones(7))[0] == 0.0


def pairs(x, z, *, sigma=0.1, shift=0.25, stretch=0.0004, both=0.0) -> Pairs:
    """Items at x and clusters at z, of one kind, metres."""
    x, z = np.asarray(x, float), np.asarray(z, float)
    n, count = len(x), len(z)
    return Pairs(
        apart_m=z - x[:, None],
        weight=np.full((n, count), sigma**-2),
        fixed=np.full((n, count), np.log(sigma * np.sqrt(2 * np.pi)) + 0.14),
        likely=np.ones((n, count), bool),
        near_item=np.zeros(n, bool),
        near_cluster=np.zeros(count, bool),
        from_centre_m=x - x.mean(),
        new=np.full(n, 4.0),
        at_m=z,
        seen=np.full(count, 0.87),
        where=np.array([-1.0, 100.0, x.mean(), shift, stretch, both]),
    )


def test_a_displaced_run_finds_its_clusters() -> None:
    """All items 0.9 m off, nearer to the neighbours of their clusters: the common shift is found, and nothing is misjoined."""
    z = np.array([3.0, 4.0, 7.0, 11.0, 11.8])
    bench = bench_of(5, 5)
    _, shift, _ = search(pairs(z - 0.9, z), 5, 5, 0.15, 3.5, bench, bench.partner)
    assert bench.partner.tolist() == [0, 1, 2, 3, 4]
    assert shift == pytest.approx(0.9, abs=0.05)


def test_what_is_expected_bounds_the_shift() -> None:
    """With a shift of a few centimetres expected, items 0.9 m off are new ones."""
    z = np.array([3.0, 7.0, 11.0])
    bench = bench_of(3, 3)
    search(pairs(z - 0.9, z, shift=0.0004, stretch=1e-8), 3, 3, 0.15, 3.5, bench, bench.partner)
    assert bench.partner.tolist() == [-1, -1, -1]


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=30, deadline=None)
def test_shift_and_stretch_are_integrated_exactly(seed) -> None:
    """The cost of a matching is the joint normal density of its distances (numpy's multivariate normal, worked out directly)."""
    random = np.random.default_rng(seed)
    x = np.sort(random.uniform(0, 30, 4))
    z = x + random.normal(0.3, 0.2, 4)
    given_pairs = pairs(x, z, both=0.003)
    t0, t1, own = settled(given_pairs, 4, np.arange(4))
    design = np.column_stack([np.ones(4), given_pairs.from_centre_m])
    prior = np.array([[0.25, 0.003], [0.003, 0.0004]])
    covariance = design @ prior @ design.T + np.eye(4) * 0.01
    apart = z - x
    wanted = 0.5 * apart @ np.linalg.solve(covariance, apart) + 0.5 * np.linalg.slogdet(2 * np.pi * covariance)[1]
    left = apart - design @ [t0, t1]
    assert own + (left**2 / 0.02 + 0.5 * np.log(2 * np.pi * 0.01)).sum() == pytest.approx(wanted)


def test_figures_are_replaceable_and_wrong_ones_are_refused() -> None:
    """A place's own text replaces single figures; unknown names and no numbers are told."""
    model = matching_model("[seeing]\nseen = 0.5")
    assert (model.seen, model.new_per_m) == (0.5, matching_model().new_per_m)
    with pytest.raises(ValueError, match="no figure 'sean'"):
        matching_model("[seeing]\nsean = 0.5")
    with pytest.raises(ValueError, match="positive number"):
        matching_model("[seeing]\nseen = -1")


def test_terms_have_a_row_for_each_kind() -> None:
    """Whatever the vocabulary holds can be matched."""
    words = vocabulary()
    terms = terms_of(words, matching_model())
    assert terms.turns.shape == (len(words.names),) * 2
    assert len(terms.new) == len(words.names)
