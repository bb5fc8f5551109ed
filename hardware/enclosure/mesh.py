"""Read a binary STL and measure it with numpy alone: no CAD library, so the committed files can always be checked."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np

MAX_TRIANGLES = 200_000


def read_stl(path: Path) -> np.ndarray:
    """Triangles of a binary STL, shape (n, 3, 3), mm. ValueError says what is wrong with the file."""
    data = path.read_bytes()
    if len(data) < 84:
        raise ValueError(f"{path.name} is too short for a binary STL")
    (count,) = struct.unpack_from("<I", data, 80)
    if count > MAX_TRIANGLES or len(data) != 84 + 50 * count:
        raise ValueError(f"{path.name} says {count} triangles but has {len(data)} bytes")
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("tag", "<u2")])
    return np.frombuffer(data, record, count, 84)["corners"].astype(float)


def volume_mm3(triangles: np.ndarray) -> float:
    """Enclosed volume by signed tetrahedra; right only for a closed surface."""
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def open_edges(triangles: np.ndarray, digits: int = 4) -> int:
    """Edges that are not shared by exactly two triangles running in opposite directions; 0 for a closed surface."""
    corners = np.round(triangles.reshape(-1, 3), digits)
    _, index = np.unique(corners, axis=0, return_inverse=True)
    index = index.reshape(-1, 3)
    pairs = np.concatenate([index[:, [0, 1]], index[:, [1, 2]], index[:, [2, 0]]])
    pairs = pairs[pairs[:, 0] != pairs[:, 1]]
    forward = {}
    for one, two in pairs:
        forward[(one, two)] = forward.get((one, two), 0) + 1
    return sum(1 for (one, two), n in forward.items() if forward.get((two, one), 0) != n)


def normals(triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(unit normals, areas in mm2)."""
    n = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    length = np.linalg.norm(n, axis=1)
    return n / np.maximum(length, 1e-12)[:, None], length / 2


def overhangs(triangles: np.ndarray, limit_deg: float = 46.0, bed: float = 0.3) -> np.ndarray:
    """Triangles that hang over more than `limit_deg` from the vertical, except those on the bed (z within `bed`)."""
    unit, area = normals(triangles)
    hangs = unit[:, 2] < -np.sin(np.radians(limit_deg))
    low = triangles[:, :, 2].max(axis=1) < bed
    return triangles[hangs & ~low & (area > 1e-6)]


def bridge_spans(hanging: np.ndarray) -> list[tuple[float, float, float]]:
    """(x span, y span, z) of every connected patch of overhang; a printer bridges its narrower span."""
    left = list(range(len(hanging)))
    keys = [{tuple(np.round(corner, 3)) for corner in t} for t in hanging]
    patches = []
    while left:
        group, queue = [], [left.pop()]
        while queue:
            k = queue.pop()
            group.append(k)
            near = [m for m in left if keys[m] & keys[k]]
            for m in near:
                left.remove(m)
            queue += near
        points = hanging[group].reshape(-1, 3)
        size = points.max(axis=0) - points.min(axis=0)
        patches.append((float(size[0]), float(size[1]), float(points[:, 2].min())))
    return patches


def thickness_mm(triangles: np.ndarray, samples: int = 600, seed: int = 7) -> np.ndarray:
    """Wall thickness behind `samples` points of the surface, chosen by area: distance inwards to the next surface.

    Only walls whose far side is roughly parallel count, so that the corners of chamfers do not look like thin walls.
    """
    rng = np.random.default_rng(seed)
    unit, area = normals(triangles)
    chosen = rng.choice(len(triangles), samples, p=area / area.sum())
    u, v = rng.random((2, samples))
    flip = u + v > 1
    u[flip], v[flip] = 1 - u[flip], 1 - v[flip]
    a, b, c = triangles[:, 0], triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    found = []
    for k, s, t in zip(chosen, u, v, strict=True):
        origin = a[k] + s * b[k] + t * c[k]
        ray = -unit[k]
        cross = np.cross(ray, c)
        det = np.einsum("ij,ij->i", b, cross)
        with np.errstate(divide="ignore", invalid="ignore"):
            inv = 1 / det
            to = origin - a
            p = np.einsum("ij,ij->i", to, cross) * inv
            q_vec = np.cross(to, b)
            q = q_vec @ ray * inv
            d = np.einsum("ij,ij->i", c, q_vec) * inv
            hit = (np.abs(det) > 1e-9) & (p >= 0) & (q >= 0) & (p + q <= 1) & (d > 1e-3)
        if hit.any():
            nearest = np.flatnonzero(hit)[np.argmin(d[hit])]
            if unit[nearest] @ unit[k] < -0.9:
                found.append(d[nearest])
    return np.array(found)
