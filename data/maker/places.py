"""Invented shorelines and depth-area tables.

A shoreline is a circle whose radius is disturbed by a few random waves; a river reach is a meandering band.
No outline of a real water is used.
"""

from __future__ import annotations

import json

import numpy as np

from .base import number, stream, table_text, waters

KM_PER_DEGREE = 111.32

# water: mean radius [km], stretch along the long axis, bearing of that axis [deg], roughness, islands
LAKES: dict[str, tuple[float, float, float, float, int]] = {
    "vellumere": (3.1, 1.8, 35.0, 0.24, 2),
    "pindlewick": (2.5, 1.3, 100.0, 0.22, 1),
    "tannerook": (2.0, 1.45, 150.0, 0.24, 2),
    "quernholt": (2.1, 3.4, 70.0, 0.26, 1),
}
# water: how full the basin is; area at depth z is A0 (1 - z / zmax) ** power
BASIN_POWER = {"vellumere": 1.25, "pindlewick": 0.65, "tannerook": 1.4, "grumblewash": 0.5, "quernholt": 1.6}
RIVER_WIDTH_KM = 0.40
RIVER_LENGTH_KM = 25.0

Ring = list[tuple[float, float]]


def _to_degrees(x: np.ndarray, y: np.ndarray, latitude: float, longitude: float) -> Ring:
    lat = latitude + y / KM_PER_DEGREE
    lon = longitude + x / (KM_PER_DEGREE * np.cos(np.radians(latitude)))
    ring = [(round(float(a), 5), round(float(b), 5)) for a, b in zip(lon, lat, strict=True)]
    return [*ring, ring[0]]


def _blob(
    name: str, radius: float, stretch: float, bearing: float, rough: float, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return a closed noisy outline around the origin [km], counter-clockwise."""
    rng = stream("shore", name)
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    r = np.ones(count)
    for k in range(2, 15):
        r += rough * k**-0.8 * rng.normal() * np.cos(k * angle + rng.uniform(0, 2 * np.pi))
    r = radius * np.clip(r, 0.45, 1.8)
    x, y = r * np.cos(angle) * np.sqrt(stretch), r * np.sin(angle) / np.sqrt(stretch)
    turn = np.radians(90 - bearing)
    return x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)


def _river(latitude: float, longitude: float) -> tuple[list[Ring], float]:
    """Return a meandering band and its area [m2]."""
    rng = stream("shore", "grumblewash")
    s = np.linspace(-0.5, 0.5, 160) * RIVER_LENGTH_KM
    y = sum(
        rng.uniform(0.15, 0.5) * np.sin(2 * np.pi * s / wave + rng.uniform(0, 6.28))
        for wave in (4.0, 6.5, 11.0)
    )
    half = RIVER_WIDTH_KM / 2 * (1 + 0.25 * np.sin(s * 1.7) + 0.15 * np.sin(s * 4.1))
    slope = np.gradient(y, s)
    nx, ny = -slope / np.hypot(1, slope), 1 / np.hypot(1, slope)
    x = np.concatenate([s - half * nx, (s + half * nx)[::-1]])
    yy = np.concatenate([y - half * ny, (y + half * ny)[::-1]])
    return [_to_degrees(x, yy, latitude, longitude)], _area(x, yy)


def _area(x: np.ndarray, y: np.ndarray) -> float:
    """Return the area inside an outline given in km, [m2]."""
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2 * 1e6)


def _lake(name: str, latitude: float, longitude: float) -> tuple[list[Ring], float]:
    """Return shoreline and island rings, and the water area without the islands [m2]."""
    radius, stretch, bearing, rough, islands = LAKES[name]
    x, y = _blob(name, radius, stretch, bearing, rough, 120)
    rings, area = [_to_degrees(x, y, latitude, longitude)], _area(x, y)
    rng = stream("islands", name)
    axis = np.radians(90 - bearing)
    for i in range(islands):
        along = (-1) ** i * radius * np.sqrt(stretch) * rng.uniform(0.38, 0.5)
        cx, cy = along * np.cos(axis), along * np.sin(axis)
        ix, iy = _blob(f"{name}-{i}", radius * rng.uniform(0.09, 0.15), 1.4, bearing + 30, 0.12, 24)
        rings.append(_to_degrees(cx + ix[::-1], cy + iy[::-1], latitude, longitude))  # holes run clockwise
        area -= _area(ix, iy)
    return rings, area


def make() -> dict[str, str]:
    """Return the texts of shoreline.geojson and depth_areas.csv."""
    features, rows = [], []
    for water in waters():
        name, depth = str(water["id"]), float(str(water["max_depth_m"]))
        lat, lon = float(str(water["latitude"])), float(str(water["longitude"]))
        rings, area = _river(lat, lon) if name == "grumblewash" else _lake(name, lat, lon)
        features.append(
            {
                "type": "Feature",
                "properties": {"water": name, "name": water["name"], "invented": True},
                "geometry": {"type": "Polygon", "coordinates": [[list(p) for p in ring] for ring in rings]},
            }
        )
        step = 0.5 if depth < 8 else 1.0 if depth < 20 else 2.0
        depths = np.append(np.arange(0, depth, step), depth)
        for z in depths:
            share = max(0.0, 1 - z / depth) ** BASIN_POWER[name]
            rows.append([name, number(float(z), 1), str(round(area * share / 100) * 100)])
    lines = ",\n".join(json.dumps(f, separators=(",", ":")) for f in features)
    shore = '{"type":"FeatureCollection","features":[\n' + lines + "\n]}\n"
    return {
        "shoreline.geojson": shore,
        "depth_areas.csv": table_text(["water", "depth_m", "area_m2"], rows),
    }
