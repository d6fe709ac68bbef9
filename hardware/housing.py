"""The housing: built from `housing.scad` by OpenSCAD, and pictured from what was built.

The picture is computed here because OpenSCAD draws pictures only where there is a screen.
"""

import re
import shutil
import struct
import subprocess
import zlib
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

SCAD = Path(__file__).parent / "housing.scad"
PRINTED = ("hood", "base", "stake", "shield_top", "shield_plate")
"""The parts that are printed; each becomes one STL file."""
TURN_DEG = 38.0
TILT_DEG = -14.0
PLASTIC = np.array([1.0, 0.985, 0.95])
EDGE = np.array([0.16, 0.2, 0.23])

Floats = NDArray[np.float64]


class HousingError(Exception):
    """OpenSCAD is missing, or complained."""


def build(part: str, file: Path, heads: int = 1) -> str:
    """Build one part into an STL (or SVG) file; returns what OpenSCAD said.

    Raises HousingError when OpenSCAD is missing, fails or warns.
    """
    openscad = shutil.which("openscad")
    if openscad is None:
        raise HousingError("OpenSCAD is missing; install it with: apt-get install openscad")
    file.parent.mkdir(parents=True, exist_ok=True)
    run = subprocess.run(
        [openscad, "-o", str(file), "-D", f'part="{part}"', "-D", f"heads={heads}", str(SCAD)],
        capture_output=True,
        text=True,
        check=False,
    )
    if run.returncode or "WARNING" in run.stderr:
        raise HousingError(f"OpenSCAD on {part}: {run.stderr.strip()}")
    return run.stderr


def triangles(stl: Path) -> Floats:
    """The corners of an STL text file's triangles, as an array of shape (n, 3, 3) [mm]."""
    numbers = re.findall(r"vertex\s+(\S+)\s+(\S+)\s+(\S+)", stl.read_text(encoding="utf-8"))
    return np.array(numbers, dtype=float).reshape(-1, 3, 3)


def volume_cm3(corners: Floats) -> float:
    """How much plastic closed triangles hold [cm³]."""
    return float(np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6e3)


def open_edges(corners: Floats) -> int:
    """Edges that do not join exactly two triangles, once each way: 0 in a body that can be printed."""
    points = corners.round(5)
    edges: dict[tuple[tuple[float, ...], tuple[float, ...]], int] = {}
    for triangle in points:
        named = [tuple(point) for point in triangle]
        for start, end in zip(named, named[1:] + named[:1], strict=True):
            edges[start, end] = edges.get((start, end), 0) + 1
    return sum(count != edges.get((end, start), 0) for (start, end), count in edges.items())


def _turned(corners: Floats) -> Floats:
    """Seen from the front, a little from the side and from below: x right, y up, z towards the eye."""
    turn, tilt = np.radians(TURN_DEG), np.radians(TILT_DEG)
    x = corners[..., 0] * np.cos(turn) + corners[..., 1] * np.sin(turn)
    away = -corners[..., 0] * np.sin(turn) + corners[..., 1] * np.cos(turn)
    up = corners[..., 2] * np.cos(tilt) + away * np.sin(tilt)
    near = corners[..., 2] * np.sin(tilt) - away * np.cos(tilt)
    return np.stack([x, up, near], axis=-1)


def picture(corners: Floats, dots_per_mm: float = 6.0, margin_mm: float = 4.0) -> NDArray[np.uint8]:
    """A shaded view of triangles with their edges drawn, as an array of shape (height, width, 3)."""
    seen = _turned(corners)
    low = seen[..., :2].min(axis=(0, 1)) - margin_mm
    seen[..., :2] = (seen[..., :2] - low) * dots_per_mm
    width, height = np.ceil(seen[..., :2].max(axis=(0, 1)) + margin_mm * dots_per_mm).astype(int)
    depth = np.full((height, width), -np.inf)
    normal = np.zeros((height, width, 3))
    for corner in seen:
        _paint(corner, depth, normal)
    light = np.array([-0.45, 0.55, 0.7])
    shade = 0.62 + 0.38 * np.clip(normal @ (light / np.linalg.norm(light)), 0, 1)
    covered = np.isfinite(depth)
    far, near = depth[covered].min(), depth[covered].max()
    haze = np.where(covered, (depth - far) / (near - far), 0.0)
    shade = shade * (0.72 + 0.28 * haze)  # what lies deeper is darker: an inside reads as an inside
    colours = np.where(covered[..., None], PLASTIC * shade[..., None], 1.0)
    colours[_edges(depth, normal, dots_per_mm)] = EDGE
    halves = (
        colours[: height // 2 * 2, : width // 2 * 2]
        .reshape(height // 2, 2, width // 2, 2, 3)
        .mean(axis=(1, 3))
    )
    painted: NDArray[np.uint8] = (halves[::-1] * 255).round().astype(np.uint8)
    return painted


def _paint(corner: Floats, depth: Floats, normal: Floats) -> None:
    """One triangle into the depth and normal buffers, where it is nearest."""
    (ax, ay, _), (bx, by, _), (cx, cy, _) = corner
    area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
    if abs(area) < 1e-9:
        return
    left, right = int(min(ax, bx, cx)), int(max(ax, bx, cx)) + 1
    bottom, top = int(min(ay, by, cy)), int(max(ay, by, cy)) + 1
    x, y = np.meshgrid(np.arange(left, right + 1) + 0.5, np.arange(bottom, top + 1) + 0.5)
    second = ((x - ax) * (cy - ay) - (cx - ax) * (y - ay)) / area
    third = ((bx - ax) * (y - ay) - (x - ax) * (by - ay)) / area
    near = corner[0, 2] + second * (corner[1, 2] - corner[0, 2]) + third * (corner[2, 2] - corner[0, 2])
    rows, columns = slice(bottom, top + 1), slice(left, right + 1)
    there = depth[rows, columns]
    inside = (second >= 0) & (third >= 0) & (second + third <= 1)
    inside = inside[: there.shape[0], : there.shape[1]]
    near = near[: there.shape[0], : there.shape[1]]
    wins = inside & (near > there)
    there[wins] = near[wins]
    facing = np.cross(corner[1] - corner[0], corner[2] - corner[0])
    facing /= np.linalg.norm(facing)
    normal[rows, columns][wins] = facing if facing[2] > 0 else -facing


def _edges(depth: Floats, normal: Floats, dots_per_mm: float) -> NDArray[np.bool_]:
    """Where the surface breaks off or turns sharply."""
    found = np.zeros(depth.shape, dtype=bool)
    flat = np.where(np.isfinite(depth), depth, -1e6)
    for axis in (0, 1):
        step = np.abs(np.diff(flat, axis=axis)) > 1.2 * dots_per_mm / 3
        bend = np.take(normal, range(depth.shape[axis] - 1), axis) * np.take(
            normal, range(1, depth.shape[axis]), axis
        )
        sharp = bend.sum(axis=-1) < 0.8
        both = np.isfinite(np.take(depth, range(depth.shape[axis] - 1), axis)) & np.isfinite(
            np.take(depth, range(1, depth.shape[axis]), axis)
        )
        mark = step | (sharp & both)
        if axis == 0:
            found[:-1] |= mark
            found[1:] |= mark
        else:
            found[:, :-1] |= mark
            found[:, 1:] |= mark
    return found


def png(colours: NDArray[np.uint8]) -> bytes:
    """An array of shape (height, width, 3) as a PNG file."""
    height, width, _ = colours.shape
    rows = b"".join(b"\0" + row.tobytes() for row in colours)

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(rows, 9))
        + chunk(b"IEND", b"")
    )
