"""Blocks that all models of the same visits share."""

import numpy as np
import pytest

from surveys.trends.numerics import visit_layout
from surveys.trends.numerics.visit_layout import lay_out


@pytest.fixture
def program(monkeypatch):
    monkeypatch.setattr(visit_layout, "MOST_NUMBERS", 60)
    rng = np.random.default_rng(4)
    history = (rng.random((200, 1)) < 0.4) * (rng.random((200, 3)) < 0.5) * 1.0
    history[rng.random((200, 3)) < 0.1] = np.nan
    history = history[~np.isnan(history).all(axis=1)]
    columns = rng.normal(size=(3, *history.T.shape))
    columns[0] = 1.0
    return history, columns, 2015 + np.arange(len(history)) % 4


def test_each_row_is_in_one_block(program):
    history, columns, years = program
    layout = lay_out(history, columns, years)
    rows = np.concatenate([block.at for block in layout.blocks])
    assert sorted(rows.tolist()) == list(range(len(history)))
    for block in layout.blocks:
        own = history[block.at].T
        assert own.size <= 60
        assert (np.diff(block.at) > 0).all()
        assert block.heard == pytest.approx(np.nan_to_num(own))
        assert block.trials == pytest.approx(~np.isnan(own) * 1.0)
        assert block.columns == pytest.approx(columns[:, :, block.at])
        assert set(np.nan_to_num(own).any(axis=0).tolist()) == {not block.silent}
        assert block.picked(np.array([0, 2])) == pytest.approx(columns[[0, 2]][:, :, block.at])
    by_row = np.column_stack([years, np.arange(len(years))]) * 1.0
    for block, part in zip(layout.blocks, layout.parts(by_row), strict=True):
        assert part == pytest.approx(by_row[block.at].T)


def test_it_is_of_its_own_histories(program):
    history, columns, years = program
    layout = lay_out(history, columns, years)
    assert layout.is_of(history.copy())
    assert not layout.is_of(np.where(np.isnan(history), np.nan, 1 - history))
    assert not layout.is_of(history[:-1])


def test_none_where_rows_are_better_left_out_or_counted_once(program, monkeypatch):
    history, columns, years = program
    alike = np.repeat(columns[:, :, :1], len(history), axis=2)
    assert lay_out(history, alike, years) is None
    unvisited = history.copy()
    unvisited[3] = np.nan
    assert lay_out(unvisited, columns, years) is None
    assert lay_out(history, columns[:1], years) is None
    monkeypatch.setattr(visit_layout, "MOST_NUMBERS", history.size)
    assert lay_out(history, columns, years) is None
