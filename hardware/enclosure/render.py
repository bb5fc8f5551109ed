"""Shaded pictures from triangles: a small z-buffer in numpy, so that no graphics card or window is needed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Colour = tuple[float, float, float]


@dataclass
class Mesh:
    """Triangles, shape (n, 3, 3) in mm, with one colour; `glow` colours are drawn without shading."""

    triangles: np.ndarray
    colour: Colour
    glow: bool = False

    def moved(self, matrix: np.ndarray) -> Mesh:
        """A copy under a 4x4 transform."""
        flat = self.triangles.reshape(-1, 3) @ matrix[:3, :3].T + matrix[:3, 3]
        return Mesh(flat.reshape(-1, 3, 3), self.colour, self.glow)


def _view_matrix(azimuth_deg: float, elevation_deg: float) -> np.ndarray:
    """Rows: right, up, towards the eye, for a camera that circles a z-up scene."""
    a, e = np.radians([azimuth_deg, elevation_deg])
    eye = np.array([np.cos(e) * np.sin(a), -np.cos(e) * np.cos(a), np.sin(e)])
    right = np.array([np.cos(a), np.sin(a), 0.0])
    return np.array([right, np.cross(eye, right), eye])


def render(
    meshes: list[Mesh],
    size: tuple[int, int] = (1200, 900),
    azimuth_deg: float = 30.0,
    elevation_deg: float = 25.0,
    margin: float = 0.07,
    floor: float | None = None,
    oversample: int = 2,
):  # noqa: ANN201 - a PIL image; pillow is an extra
    """Return a PIL image of the meshes in parallel projection, dark lines where surfaces break off.

    `floor` draws a light ground and a soft shadow at that height in mm.
    """
    from PIL import Image, ImageFilter

    wide, high = size[0] * oversample, size[1] * oversample
    view = _view_matrix(azimuth_deg, elevation_deg)
    cloud = np.concatenate([m.triangles.reshape(-1, 3) for m in meshes]) @ view.T
    low, top = cloud.min(axis=0), cloud.max(axis=0)
    scale = min(wide * (1 - 2 * margin) / (top[0] - low[0]), high * (1 - 2 * margin) / (top[1] - low[1]))
    middle = (low + top) / 2

    def to_pixels(points: np.ndarray) -> np.ndarray:
        return np.stack(
            [
                (points[..., 0] - middle[0]) * scale + wide / 2,
                high / 2 - (points[..., 1] - middle[1]) * scale,
                points[..., 2] * scale,
            ],
            axis=-1,
        )

    depth = np.full((high, wide), -np.inf)
    colour = np.empty((high, wide, 3))
    colour[:] = (0.965, 0.970, 0.975)  # plain: a gradient would treble the file
    normals_at = np.zeros((high, wide, 3))
    if floor is not None:
        shade = np.zeros((high, wide), dtype=np.float32)
        light = np.array([0.25, 0.35, -1.0])
        for mesh in meshes:
            drop = mesh.triangles + ((floor - mesh.triangles[..., 2:3]) / light[2]) * light
            for corner in to_pixels(drop @ view.T):
                _fill(corner, shade)
        soft = Image.fromarray((shade * 255).astype(np.uint8)).filter(ImageFilter.GaussianBlur(10 * oversample))
        colour *= (1 - 0.28 * np.asarray(soft, dtype=float) / 255)[..., None]

    key = np.array([-0.35, 0.55, 0.75])
    key /= np.linalg.norm(key)
    for mesh in meshes:
        seen = mesh.triangles @ view.T
        normal = np.cross(seen[:, 1] - seen[:, 0], seen[:, 2] - seen[:, 0])
        length = np.linalg.norm(normal, axis=1)
        keep = (length > 1e-9) & (normal[:, 2] > 0)
        normal = normal[keep] / length[keep, None]
        lit = 0.42 + 0.50 * np.clip(normal @ key, 0, 1) + 0.12 * normal[:, 2]
        if mesh.glow:
            lit = np.ones(len(normal))
        shades = np.clip(np.asarray(mesh.colour)[None, :] * lit[:, None], 0, 1)
        for corner, shade_rgb, n in zip(to_pixels(seen[keep]), shades, normal, strict=True):
            _triangle(corner, shade_rgb, n, depth, colour, normals_at)

    covered = np.isfinite(depth)
    d = np.where(covered, depth, depth[covered].min() - 100 * scale)
    line = np.zeros((high, wide), dtype=bool)
    for axis in (0, 1):
        jump = np.abs(np.diff(d, axis=axis)) > 1.6 * scale
        bend = np.sum(np.diff(normals_at, axis=axis) ** 2, axis=2) > 0.45
        both = (jump | bend) & (covered[1:] | covered[:-1] if axis == 0 else covered[:, 1:] | covered[:, :-1])
        if axis == 0:
            line[1:] |= both
        else:
            line[:, 1:] |= both
    colour[line] *= 0.42
    image = Image.fromarray((np.clip(colour, 0, 1) * 255).astype(np.uint8))
    return image.resize(size, Image.Resampling.LANCZOS)


def _span(corner: np.ndarray, shape: tuple[int, int]):  # noqa: ANN202
    """Pixel window of a triangle and its barycentric weights, or None when it covers nothing."""
    x0, y0 = np.floor(corner[:, :2].min(axis=0)).astype(int)
    x1, y1 = np.ceil(corner[:, :2].max(axis=0)).astype(int) + 1
    x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, shape[1]), min(y1, shape[0])
    if x0 >= x1 or y0 >= y1:
        return None
    (ax, ay), (bx, by), (cx, cy) = corner[:, :2]
    area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
    if abs(area) < 1e-9:
        return None
    xs, ys = np.arange(x0, x1) + 0.5, (np.arange(y0, y1) + 0.5)[:, None]
    u = ((bx - xs) * (cy - ys) - (cx - xs) * (by - ys)) / area
    v = ((cx - xs) * (ay - ys) - (ax - xs) * (cy - ys)) / area
    w = 1 - u - v
    return (slice(y0, y1), slice(x0, x1)), u, v, w, (u >= -1e-9) & (v >= -1e-9) & (w >= -1e-9)


def _fill(corner: np.ndarray, mask: np.ndarray) -> None:
    found = _span(corner, mask.shape)
    if found:
        window, _, _, _, inside = found
        mask[window][inside] = 1


def _triangle(corner, rgb, normal, depth, colour, normals_at) -> None:  # noqa: ANN001
    found = _span(corner, depth.shape)
    if not found:
        return
    window, u, v, w, inside = found
    z = u * corner[0, 2] + v * corner[1, 2] + w * corner[2, 2]
    front = inside & (z > depth[window])
    depth[window][front] = z[front]
    colour[window][front] = rgb
    normals_at[window][front] = normal
