"""Draws kept between runs are those that were made, or are made again."""

import numpy as np
import pytest

from bomaudit.decide import kept_draws
from bomaudit.decide.draws import normal_scores
from bomaudit.decide.kept_draws import kept_scores


@pytest.fixture
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "bomaudit"


def exact(columns, draws=64, seed=3):
    return normal_scores(columns, draws=draws, seed=seed).astype(np.float32).tolist()


def test_kept_ones_are_the_same_to_the_last_bit_and_made_once(cache, monkeypatch):
    assert kept_scores(5, draws=64, seed=3).tolist() == exact(5)
    expected = exact(5)
    monkeypatch.setattr(kept_draws, "normal_scores", None)  # whoever asks now fails
    assert kept_scores(5, draws=64, seed=3).tolist() == expected
    assert len(list(cache.iterdir())) == 1


@pytest.mark.parametrize("damage", [lambda b: b[:-1], lambda b: b[:40] + b"\x00" + b[41:], lambda _: b""])
def test_what_is_not_whole_is_made_again(cache, damage):
    kept_scores(5, draws=64, seed=3)
    (place,) = cache.iterdir()
    place.write_bytes(damage(place.read_bytes()))
    assert kept_scores(5, draws=64, seed=3).tolist() == exact(5)


def test_another_seed_another_set_and_the_oldest_are_forgotten(cache, monkeypatch):
    monkeypatch.setattr(kept_draws, "_MOST_KEPT", 3)
    for seed in range(5):
        assert kept_scores(2, draws=64, seed=seed).tolist() == exact(2, seed=seed)
    assert len(list(cache.iterdir())) == 3


def test_a_cache_that_cannot_be_written_costs_time_only(cache):
    cache.write_text("a file in the way", "utf-8")
    assert kept_scores(5, draws=64, seed=3).tolist() == exact(5)


def test_too_many_are_made_each_time_and_not_kept(cache, monkeypatch):
    monkeypatch.setattr(kept_draws, "_LARGEST", 5 * 64 * 4 - 1)
    assert kept_scores(5, draws=64, seed=3).tolist() == exact(5)
    assert not cache.exists()


def test_old_ones_that_cannot_be_removed_stay(cache, monkeypatch):
    def refuse(*_, **__):
        raise PermissionError

    monkeypatch.setattr(kept_draws, "_MOST_KEPT", 0)
    monkeypatch.setattr(kept_draws.Path, "unlink", refuse)
    assert kept_scores(5, draws=64, seed=3).tolist() == exact(5)
    assert len(list(cache.iterdir())) == 1
