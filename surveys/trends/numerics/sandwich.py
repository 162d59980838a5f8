"""Standard errors that respect rows belonging together."""

from __future__ import annotations

import numpy as np

from surveys.trends.numerics.arrays import FloatArray, IntArray


def cluster_scores(row_scores: FloatArray, cluster: IntArray) -> FloatArray:
    """Sum of the rows' scores (rows, K) within each cluster, (clusters, K)."""
    clusters = int(cluster.max(initial=-1)) + 1
    columns = [np.bincount(cluster, weights=score) for score in row_scores.T]
    return np.column_stack(columns) if columns else np.zeros((clusters, 0))


def sandwich_covariance(information: FloatArray, scores: FloatArray) -> FloatArray:
    """Clustered covariance of maximum-likelihood estimates.

    ``information`` is the negative Hessian (K, K), ``scores`` the summed score of each independent
    cluster (C, K). Bread and meat as in Liang & Zeger 1986, Biometrika 73:13-22, with the usual
    C / (C - 1) for few clusters. Raises ValueError below two clusters.
    """
    clusters = len(scores)
    if clusters < 2:
        raise ValueError("clustered standard errors need at least two clusters")
    bread = np.linalg.inv(information)
    meat = scores.T @ scores * (clusters / (clusters - 1))
    covariance: FloatArray = bread @ meat @ bread
    return covariance
